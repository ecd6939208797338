"""Reading of archives: Avro object container files of protocol/raw_run.avsc, a block for each shaft.

Any Avro library can read them. Avro's own framing notices damage only if a length or the marker after a block no longer
fits, so a flipped bit in a reading would pass unnoticed. The CRC-32 in every record (see raw_run.avsc) covers all its
bytes and closes that gap. A record without it, as another program may write it, is checked by framing and ranges alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from fastavro.read import SchemaResolutionError
from fastavro.types import Schema

from midspan.archive import avro_container, raw_run_codec
from midspan.archive.avro_container import Block, Gap, Header
from midspan.archive.raw_run import RawRun
from midspan.base.errors import ArchiveError
from midspan.base.files import check_ordinary, reading
from midspan.wire.schema import raw_run_schema


@dataclass(frozen=True, slots=True)
class Damage:
    """Damaged part of an archive; its shaft may have been read in spite of it.

    Parameters
    ----------
    path : Path
        The file.
    offset : int
        Where the damaged bytes begin.
    end : int
        Where they end.
    reason : str
        What is wrong, for people.
    """

    path: Path
    offset: int
    end: int
    reason: str

    def __str__(self) -> str:
        return f"{self.path}: bytes {self.offset} to {self.end}: {self.reason}"


@dataclass(slots=True)
class Archive:
    """An archive open for reading; a file of another version of the schema is read if Avro can resolve it.

    Parameters
    ----------
    path : Path
        The file.
    header : Header
        Its header, as `open` reads it.
    is_current : bool
        True if the file has the schema of this version.
    head_schema : Schema or None
        Head of the file's schema if its runs have a CRC-32 where this version has it, else None.
    damage : list[Damage]
        Damage found by the last pass over the file; empty before the first.
    """

    path: Path
    header: Header
    is_current: bool
    head_schema: Schema | None
    damage: list[Damage] = field(default_factory=list)

    @classmethod
    def open(cls, path: Path) -> Archive:
        """Open a file and check its header.

        Parameters
        ----------
        path : Path
            The file.

        Returns
        -------
        Archive
            The archive; no run is decoded yet.

        Raises
        ------
        ArchiveError
            The file cannot be read, is not an Avro file, or holds other records or a version of the schema that cannot
            be resolved (the message then names both fingerprints).
        """
        check_ordinary(path, ArchiveError)
        with reading(path, ArchiveError), path.open("rb") as file:
            header = avro_container.read_header(file, str(path))
        current = header.fingerprint == avro_container.fingerprint(raw_run_schema())
        archive = cls(path, header, current, None)
        archive._check_schema()
        return archive

    def runs(self) -> Iterator[RawRun]:
        """Yield all whole runs, in the order they were stored; damage between them is noted and skipped.

        Yields
        ------
        RawRun
            A run.

        Raises
        ------
        ArchiveError
            Reading the file failed.
        """
        for _, run in self.entries():
            yield run

    def entries(self) -> Iterator[tuple[int, RawRun]]:
        """Yield all whole runs with their places in the file, as `runs` does.

        Yields
        ------
        tuple[int, RawRun]
            Offset of the run's block in bytes, by which `run_at` finds it again, and the run.

        Raises
        ------
        ArchiveError
            Reading the file failed.
        """
        self.damage.clear()
        for part in self._parts():
            if isinstance(part, Gap):
                self._note(part, _gap_text(part))
                continue
            try:
                for run in self._decoded(part):
                    yield part.offset, run
            except ArchiveError as error:
                self._note(part, f"the block is damaged: {error}; the shafts after it are read")

    def run_at(self, offset: int) -> RawRun:
        """Return the run at a place in the file.

        Parameters
        ----------
        offset : int
            Offset of its block in bytes, as `ArchiveWriter.append` or `entries` gives it.

        Returns
        -------
        RawRun
            The run.

        Raises
        ------
        ArchiveError
            No whole run starts there.
        """
        for part in self._parts(offset):
            if isinstance(part, Block):
                for run in self._decoded(part):
                    return run
            break
        raise ArchiveError(f"{self.path}: no complete shaft starts at byte {offset}", code="no_run")

    def find(self, run: RawRun) -> tuple[int, RawRun] | None:
        """Return the first run in the archive that has the same readings.

        Its label and time may differ, because a gauge that still holds readings knows neither.

        Parameters
        ----------
        run : RawRun
            The readings to look for.

        Returns
        -------
        tuple[int, RawRun] or None
            Offset of the stored run in bytes and the run as stored, None if the archive does not have the readings.
        """
        return next(((offset, other) for offset, other in self.entries() if _same_readings(run, other)), None)

    def whole_bytes(self, offset: int) -> int:
        """Return the length of the file up to the end of its last block.

        Beyond it may be half a shaft, being stored just now or cut short by a power cut.

        Parameters
        ----------
        offset : int
            Offset of any block in bytes, from which to look.

        Returns
        -------
        int
            Length in bytes; the offset itself if no block follows.
        """
        end = offset
        for part in self._parts(offset):
            if isinstance(part, Block) or not part.torn:
                end = part.end
        return end

    def check(self) -> None:
        """Raise an error if the last pass over the file met damage.

        Raises
        ------
        ArchiveError
            There was damage; the message names the first place and counts the others.
        """
        if self.damage:
            more = f" (and {len(self.damage) - 1} more places)" if len(self.damage) > 1 else ""
            raise ArchiveError(f"{self.damage[0]}{more}; all complete shafts were read")

    def _parts(self, offset: int | None = None) -> Iterator[Block | Gap]:
        """Yield blocks and gaps from an offset on, by default all."""
        is_whole = raw_run_codec.is_guarded if self._may_be_guarded() else _never
        try:
            with self.path.open("rb") as file:
                yield from avro_container.walk(file, self.header, is_whole, offset)
        except OSError as error:
            raise ArchiveError(f"{self.path}: cannot be read ({error.strerror}); check the disk") from error

    def _decoded(self, block: Block) -> Iterator[RawRun]:
        """Return the runs in a block, decoded fast if it is one of ours."""
        guarded = self._may_be_guarded() and raw_run_codec.is_guarded(block.datums)
        if guarded and not (block.framed and block.count == 1):
            self._note(block, "the frame of the block is damaged, its shaft is whole")
        if guarded:
            return iter((raw_run_codec.decode(block.datums, self.head_schema),))
        schema = raw_run_schema() if self.is_current else self.header.schema
        return raw_run_codec.decode_plain(block.datums, block.count, schema)

    def _may_be_guarded(self) -> bool:
        """Return True if the runs of the file have a CRC-32 at a known place."""
        return self.is_current or self.head_schema is not None

    def _check_names(self) -> None:
        """Raise ArchiveError if the header lacks a field of this version and has another: a bit of a name flipped.

        An older version only lacks fields, a newer one only adds some. A name that was spoilt would else count as both,
        and what the field holds would be lost without a word.
        """
        ours, theirs = _field_names(raw_run_schema()), _field_names(self.header.schema)
        if theirs - ours and ours - theirs:
            raise ArchiveError(
                f"{self.path}: its header has {sorted(theirs - ours)} for {sorted(ours - theirs)}: it is damaged; "
                "no shaft was read",
                code="schema",
            )

    def _note(self, part: Block | Gap, reason: str) -> None:
        """Add a part of the file to the damage."""
        start = part.offset
        # Join adjacent places: a large file of garbage may have one every few bytes.
        if self.damage and (self.damage[-1].end, self.damage[-1].reason) == (start, reason):
            start = self.damage.pop().offset
        self.damage.append(Damage(self.path, start, part.end, reason))

    def _check_schema(self) -> None:
        """Raise ArchiveError if the file holds other records, or a schema that cannot be resolved."""
        if self.is_current:
            return
        name = self.header.schema.get("name") if isinstance(self.header.schema, dict) else self.header.schema
        if name != "midspan.RawRun":
            raise ArchiveError(f"{self.path}: holds records {name!r}, not raw runs of Midspan", code="other_records")
        self._check_names()
        self.head_schema = raw_run_codec.guarded_head(self.header.schema)
        first = next((part for part in self._parts() if isinstance(part, Block)), None)
        try:
            for _ in self._decoded(first) if first else ():
                return
        except ArchiveError as error:
            if isinstance(error.__cause__, SchemaResolutionError):
                raise ArchiveError(
                    f"{self.path}: its schema {self.header.fingerprint} does not match this version's "
                    f"{avro_container.fingerprint(raw_run_schema())} ({error.__cause__}); use the Midspan of its time",
                    code="schema",
                ) from error
            # Any other error means that the block is damaged, not the schema: reading will report it.


def _field_names(schema: Any) -> set[str]:
    """Return the names of a record's fields; empty for another kind of schema."""
    return {field["name"] for field in schema.get("fields", ())}


def _same_readings(run: RawRun, other: RawRun) -> bool:
    """Return True if two runs are the same readings of the same shaft and start of a gauge."""
    same = (run.gauge, run.shaft, run.boot, len(run)) == (other.gauge, other.shaft, other.boot, len(other))
    return same and np.array_equal(run.counts, other.counts) and np.array_equal(run.tick_us, other.tick_us)


def _never(_: bytes) -> bool:
    """Return False: a block of another schema has no CRC-32 that can be checked."""
    return False


def _gap_text(gap: Gap) -> str:
    """Return the reason to give for a gap."""
    if gap.torn:
        return "the file ends within a shaft that was being stored (a torn write or a cut copy)"
    return "the block is damaged; the shafts after it are read"


def read_archive(path: Path) -> Iterator[RawRun]:
    """Yield all whole runs of an archive, in the order they were stored and in constant memory.

    Parameters
    ----------
    path : Path
        The file.

    Yields
    ------
    RawRun
        A run.

    Raises
    ------
    ArchiveError
        The file cannot be read as an archive, as `Archive.open` says; or, after the last whole run, it is damaged.

    Examples
    --------
    >>> next(read_archive(Path("nowhere.avro")))
    Traceback (most recent call last):
    midspan.base.errors.ArchiveError: nowhere.avro: cannot be read (No such file or directory); check the name
    """
    archive = Archive.open(path)
    yield from archive.runs()
    archive.check()
