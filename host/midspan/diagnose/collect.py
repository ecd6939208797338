"""Collect the parts of a diagnosis as text that may be given away.

When a diagnosis is asked for, something is broken: a part that cannot be read is listed with the reason, and the rest
is packed.
"""

from __future__ import annotations

import json
import platform
import re
import sys
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, fields
from importlib.metadata import PackageNotFoundError, requires, version
from pathlib import Path
from typing import TypeVar

from midspan.backup.belongings import PLAN, kind_of, named_by
from midspan.base.config import read_toml
from midspan.base.errors import FrameError, MidspanError
from midspan.base.log_file import log_argument
from midspan.diagnose.scrub import Placeholders, scrubbed, scrubbed_line, scrubbed_log
from midspan.link.gauge import Gauge
from midspan.link.open_line import open_line
from midspan.link.trace_file import FIRST_LINE, Passed, explained, in_words, is_trace, read_trace
from midspan.measurement.result import EVALUATION
from midspan.store.place import StorePlace
from midspan.store.revisions import NEWEST
from midspan.wire.codec import said_in
from midspan.wire.framing import Deframer, Frame
from midspan.wire.records import PROTOCOL_MAJOR, PROTOCOL_MINOR, Record
from midspan.wire.schema import fingerprint

LOG_BYTES = 300_000  # taken from its end
PIECES = 2_000  # taken from the end of a trace: two or three shafts
OUR_ENDINGS = (".avro", ".db", ".db-wal", ".toml", ".json", ".jsonl", ".csv", ".log", ".html", ".pdf")
BROKEN = (MidspanError, OSError, ValueError, RecursionError)
WHERE = re.compile(r"line [0-9]+")  # place of a mistake in a file of settings
SourceT = TypeVar("SourceT", bound=Path | StorePlace | str | None)


@dataclass(frozen=True, slots=True)
class Sources:
    """Places where a diagnosis looks.

    Parameters
    ----------
    folder : Path
        Folder with settings and traces.
    files : tuple[Path, ...]
        Settings and traces elsewhere.
    store : StorePlace | None
        Database of results; None to leave it out.
    log : Path | None
        Log file; None to leave it out.
    port : str | None
        Port of the gauge; None to leave it out.
    """

    folder: Path
    files: tuple[Path, ...] = ()
    store: StorePlace | None = None
    log: Path | None = None
    port: str | None = None


@dataclass(frozen=True, slots=True)
class Part:
    """A member of the pack.

    Parameters
    ----------
    name : str
        Its name in the pack.
    what : str
        What it is; for a part that could not be read the reason, without names.
    text : str | None
        Its content; None if it could not be read.
    source : Path | StorePlace | str | None
        File or port it was made from; None if there is none.
    error : str
        Full reason why it could not be read, which stays on this computer.
    """

    name: str
    what: str
    text: str | None
    source: Path | StorePlace | str | None = None
    error: str = ""


@dataclass
class Collector:
    """Collects the parts, with the same placeholders in all of them.

    Parameters
    ----------
    sources : Sources
        Places to look.
    names : Placeholders
        Replacements of texts.
    """

    sources: Sources
    names: Placeholders = field(default_factory=Placeholders)

    def parts(self) -> Iterator[Part]:
        """Yield every part, unreadable ones included; raise nothing that a broken file can cause.

        Yields
        ------
        Part
            In the order of the pack.
        """
        at = self.sources
        yield self._part("versions.txt", "versions", None, lambda _: _lines(_versions()))
        for number, path in enumerate(self._settings(), 1):
            yield self._part(f"settings-{number}.json", "settings", path, self._settings_in)
        yield self._part("files.txt", "kinds and sizes of the files in the folder", at.folder, _files_in)
        if at.store is not None:
            yield self._part("database.txt", "facts of the database", at.store, lambda place: _lines(place.facts()))
        if at.log is not None:
            yield self._part("log.txt", "end of the log", at.log, self._log)
        for path in self._newest_trace():
            yield self._part("trace.txt", "end of the newest trace", path, self._trace)
        if at.port is not None:
            yield self._part("gauge.txt", "what the gauge says of itself", at.port, self._identity)

    def _part(self, name: str, what: str, source: SourceT, make: Callable[[SourceT], str]) -> Part:
        """Return a part made from a source, or the reason why it cannot be read."""
        try:
            return Part(name, what, make(source), source)
        except BROKEN as error:
            place = "".join(WHERE.findall(str(error)))
            return Part(name, f"{what}: {self._blotted(log_argument(error))} {place}".strip(), None, source, str(error))

    def _blotted(self, words: object) -> str:
        """Return words with placeholders for what came from outside."""
        return scrubbed_line(str(words), self.names)

    # Settings

    def _settings(self) -> list[Path]:
        """Return the files that were given, those of Midspan in the folder and those that a plan names, each once."""
        beside = [path for path in sorted(self.sources.folder.glob("*.toml")) if _may_be_ours(path)]
        given = [path for path in self.sources.files if not _trace_time(path)]
        found: dict[Path, None] = {}
        for path in (*given, *beside):
            found[path] = None
            found |= {path.parent / name: None for name in _named_by(path)}
        return list(found)

    def _settings_in(self, path: Path) -> str:
        """Return a file of settings as JSON, with placeholders."""
        kind = kind_of(path)
        told_of = {"file": self.names.of(path.name, "file"), "kind": kind}
        content = scrubbed(read_toml(path), self.names)
        return json.dumps({**told_of, "content": content}, indent=1, ensure_ascii=False)

    # Log and trace

    def _log(self, path: Path) -> str:
        """Return the end of the log, with placeholders."""
        before = path.with_name(f"{path.name}.1")
        text = (before.read_bytes() if before.is_file() else b"") + path.read_bytes()
        return "\n".join(scrubbed_log(text[-LOG_BYTES:].decode("utf-8", "replace").split("\n"), self.names))

    def _newest_trace(self) -> list[Path]:
        """Return the trace that was written to last; an empty list if there is none."""
        there = {path: _trace_time(path) for path in (*self.sources.files, *self.sources.folder.glob("*"))}
        return sorted((path for path, time_s in there.items() if time_s), key=lambda path: there[path])[-1:]

    def _trace(self, path: Path) -> str:
        """Return the end of a trace, with placeholders."""
        pieces = deque(read_trace(path), maxlen=PIECES)
        return "\n".join(self._blotted(line) for line in _told(pieces))

    # Gauge

    def _identity(self, port: str) -> str:
        """Return the fields of the gauge's Identify, with placeholders."""
        with open_line(port) as line:
            found = Gauge(line).identify()
        return _lines((item.name, self._blotted(in_words(getattr(found, item.name)))) for item in fields(found))


def _versions() -> Iterator[tuple[str, str]]:
    """Yield the versions of all that runs here: Midspan, its formats, Python, the system, and every library.

    Yields
    ------
    tuple[str, str]
        Name and version.
    """
    yield "midspan", version("midspan")
    yield "protocol", f"{PROTOCOL_MAJOR}.{PROTOCOL_MINOR} {fingerprint().hex()}"
    yield "evaluation", EVALUATION
    yield "newest revision of a database", str(NEWEST)
    yield "python", sys.version.replace("\n", " ")
    yield "system", platform.platform()
    yield "machine", platform.machine()
    for line in sorted(set(requires("midspan") or ())):
        name = re.split(r"[^\w.-]", line)[0]
        yield name, _version_of(name)


def _version_of(name: str) -> str:
    """Return the version of a package in words."""
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"


def _lines(facts: Iterable[tuple[str, object]]) -> str:
    """Return facts as text, a line each."""
    return "\n".join(f"{name}: {value}" for name, value in dict(facts).items())


def _files_in(folder: Path) -> str:
    """Return number and size of the files of each ending; their names may be personal."""
    sizes: dict[str, list[int]] = {}
    for path in folder.iterdir():
        if path.is_file():
            ending = path.suffix if path.suffix in OUR_ENDINGS else "of other endings"
            sizes.setdefault(ending, []).append(path.stat().st_size)
    return _lines((ending, f"{len(each)} files, {sum(each)} bytes") for ending, each in sorted(sizes.items()))


def _may_be_ours(path: Path) -> bool:
    """Return False for settings of another program; a file that is not TOML may be ours, and broken."""
    try:
        read_toml(path)
    except MidspanError:
        return True
    return kind_of(path) is not None


def _named_by(path: Path) -> tuple[str, ...]:
    """Return the files that a plan names; empty for a file that is not a plan."""
    return named_by(path) if kind_of(path) == PLAN else ()


def _trace_time(path: Path) -> float:
    """Return when a trace was last written to (seconds since 1970); 0 for an empty trace and for any other file."""
    try:
        status = path.stat()
        return status.st_mtime if status.st_size > len(FIRST_LINE) + 1 and is_trace(path) else 0.0
    except BROKEN:
        return 0.0


def _told(pieces: Iterable[Passed]) -> Iterator[str]:
    """Yield the lines of a trace made anew from its bytes.

    Bytes that are not a frame, and records with text, appear only as numbers. The first frame of each direction may
    lack its beginning.
    """
    ends: dict[tuple[int, str], Deframer] = {}
    for piece in pieces:
        yield f"{piece.time_ms:12.3f} {piece.line} {piece.direction} {len(piece.data)} bytes"
        for item in ends.setdefault((piece.line, piece.direction), Deframer()).feed(piece.data):
            yield f"{'.':>14} {explained(item)}{_bytes_of(item)}"


def _bytes_of(item: Frame | FrameError) -> str:
    """Return the bytes of a record that has no text; empty for anything else."""
    said = None if isinstance(item, FrameError) else said_in(item.body)
    if isinstance(item, FrameError) or not isinstance(said, Record):
        return ""
    kinds = {type(getattr(said, item.name)) for item in fields(said)}
    return "" if kinds & {str, bytes} else f" | {item.body.hex()}"
