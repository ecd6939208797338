"""Raw runs kept for ever: Avro object container files of protocol/raw_run.avsc, one block a shaft.

Any Avro library reads them. Files only ever grow: a run is on the disk when `append` returns, and what a power
cut left half-written is moved aside, never deleted. Avro's framing alone notices damage only where a length or
the marker after a block no longer fits, so a flipped bit in a reading would pass; the CRC-32 in every record
(see raw_run.avsc) covers all its bytes and closes that hole. What is left: a record whose `crc32` is null, as
another program may write it, has only framing and ranges to go by.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from fastavro.read import SchemaResolutionError

from midspan.archive import avro_container, raw_run_codec
from midspan.archive.avro_container import Block, Gap, Header
from midspan.archive.raw_run import RawRun
from midspan.base.errors import ArchiveError
from midspan.base.files import check_ordinary, reading
from midspan.wire.schema import raw_run_schema


@dataclass(frozen=True, slots=True)
class Damage:
    """A place in an archive that gave no shaft, or gave one in spite of damage: bytes `offset` to `end`."""

    path: Path
    offset: int
    end: int
    reason: str

    def __str__(self) -> str:
        return f"{self.path}: bytes {self.offset} to {self.end}: {self.reason}"


@dataclass(slots=True)
class Archive:
    """An archive open for reading; `damage` tells what the last pass over it met, `is_current` that the file has
    the schema of this version.

    A file of another version of the schema is read when Avro's schema resolution allows it.
    """

    path: Path
    header: Header
    is_current: bool
    damage: list[Damage] = field(default_factory=list)

    @classmethod
    def open(cls, path: Path) -> Archive:
        """Look at a file's header.

        Raises ArchiveError when the file cannot be read, is no Avro file, or holds other records or a version
        of the schema that cannot be resolved (the message then names both fingerprints).
        """
        check_ordinary(path, ArchiveError)
        with reading(path, ArchiveError), path.open("rb") as file:
            header = avro_container.read_header(file, str(path))
        archive = cls(path, header, header.fingerprint == avro_container.fingerprint(raw_run_schema()))
        archive._check_schema()
        return archive

    def runs(self) -> Iterator[RawRun]:
        """All whole runs, in the order they were stored; nothing is raised for damage between them."""
        for _, run in self.entries():
            yield run

    def entries(self) -> Iterator[tuple[int, RawRun]]:
        """All whole runs, each after the offset of its block, by which `run_at` finds it again."""
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
        """The run in the block at an offset that `append` or `entries` gave.

        Raises ArchiveError when no whole run starts there.
        """
        for part in self._parts(offset):
            if isinstance(part, Block):
                for run in self._decoded(part):
                    return run
            break
        raise ArchiveError(f"{self.path}: no whole shaft starts at byte {offset}")

    def find(self, run: RawRun) -> tuple[int, RawRun] | None:
        """Return where the same readings stand already, and how they are named there; None when they do not.

        Label and time may be others: a gauge that still holds readings knows neither.
        """
        return next(((offset, other) for offset, other in self.entries() if _same_readings(run, other)), None)

    def whole_bytes(self, offset: int) -> int:
        """How long the file is up to the end of its last block, looked for from the block at an offset on.

        What may come after is half a shaft: being stored just now, or cut short by a power cut.
        """
        end = offset
        for part in self._parts(offset):
            if isinstance(part, Block) or not part.torn:
                end = part.end
        return end

    def check(self) -> None:
        """Raise ArchiveError when the last pass met damage; the message tells of all of it."""
        if self.damage:
            more = f" (and {len(self.damage) - 1} more places)" if len(self.damage) > 1 else ""
            raise ArchiveError(f"{self.damage[0]}{more}; all whole shafts were read")

    def _parts(self, offset: int | None = None) -> Iterator[Block | Gap]:
        is_whole = raw_run_codec.is_guarded if self.is_current else _never
        try:
            with self.path.open("rb") as file:
                yield from avro_container.walk(file, self.header, is_whole, offset)
        except OSError as error:
            raise ArchiveError(f"{self.path}: reading it failed ({error.strerror})") from error

    def _decoded(self, block: Block) -> Iterator[RawRun]:
        guarded = self.is_current and raw_run_codec.is_guarded(block.datums)
        if guarded and not (block.framed and block.count == 1):
            self._note(block, "the frame of the block is damaged, its shaft is whole")
        if guarded:
            return iter((raw_run_codec.decode(block.datums),))
        schema = raw_run_schema() if self.is_current else self.header.schema
        return raw_run_codec.decode_plain(block.datums, block.count, schema)

    def _note(self, part: Block | Gap, reason: str) -> None:
        start = part.offset
        # Places next to each other are one: a large file of rubbish may have one every few bytes.
        if self.damage and (self.damage[-1].end, self.damage[-1].reason) == (start, reason):
            start = self.damage.pop().offset
        self.damage.append(Damage(self.path, start, part.end, reason))

    def _check_schema(self) -> None:
        if self.is_current:
            return
        name = self.header.schema.get("name") if isinstance(self.header.schema, dict) else self.header.schema
        if name != "midspan.RawRun":
            raise ArchiveError(f"{self.path}: holds records {name!r}, not raw runs of Midspan")
        first = next((part for part in self._parts() if isinstance(part, Block)), None)
        try:
            for _ in self._decoded(first) if first else ():
                return
        except ArchiveError as error:
            if isinstance(error.__cause__, SchemaResolutionError):
                raise ArchiveError(
                    f"{self.path}: its schema {self.header.fingerprint} cannot be read as this version's "
                    f"{avro_container.fingerprint(raw_run_schema())} ({error.__cause__}); use the Midspan that wrote it"
                ) from error
            # Else the block is damaged, not the schema: reading will say so.


def _same_readings(run: RawRun, other: RawRun) -> bool:
    same = (run.gauge, run.shaft, run.boot, len(run)) == (other.gauge, other.shaft, other.boot, len(other))
    return same and np.array_equal(run.counts, other.counts) and np.array_equal(run.tick_us, other.tick_us)


def _never(_: bytes) -> bool:
    return False


def _gap_text(gap: Gap) -> str:
    if gap.torn:
        return "the file ends within a shaft that was being stored (a torn write or a cut copy)"
    return "the block is damaged; the shafts after it are read"


def read_archive(path: Path) -> Iterator[RawRun]:
    """All whole runs of an archive in order, at full speed and in constant memory.

    Raises ArchiveError as `Archive.open` does, and after the last whole run when the file has damage.

    >>> next(read_archive(Path("nowhere.avro")))
    Traceback (most recent call last):
    midspan.base.errors.ArchiveError: nowhere.avro: cannot be read (No such file or directory); check the name
    """
    archive = Archive.open(path)
    yield from archive.runs()
    archive.check()
