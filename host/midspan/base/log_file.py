"""The log of what Midspan did, for whoever helps when something went wrong: how its lines read and where they go.

A line is in the words of the program, and whatever came from outside (a name, a path, the words of another program)
stands in quotes, «so». By these marks a diagnosis leaves out what is nobody else's business. Each module logs to
`logging.getLogger(__name__)`; a message is a constant, what varies are its arguments.

>>> record = logging.LogRecord("midspan.link", logging.INFO, "", 0, "opened %s after %d tries", ("COM3", 2), None)
>>> record.created = 0.0
>>> LogLine(process=7).format(record)
'1970-01-01T00:00:00.000Z INFO link [7] opened «COM3» after 2 tries'
"""

from __future__ import annotations

import errno
import logging
import os
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from enum import Enum
from logging.handlers import RotatingFileHandler
from pathlib import Path
from types import TracebackType
from typing import Any, TextIO

from platformdirs import user_log_path

from midspan.base.plain_text import printable, short

PACKAGE = "midspan"
NAME = "midspan.log"
LARGEST_BYTES = 1_000_000  # of one file; a shaft of a quiet night writes a thousandth of it
KEPT = 3  # files of before
FRAMES = 4  # innermost ones that are told of an error
OPENING, CLOSING = "«", "»"
SIGNED_IN = re.compile(r"(?<=://)[^/\s]+@")  # name and password in an address
LINE = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z [A-Z]+ [\w.]+ \[\d+\] ")  # how each begins


class Ours(str):
    """A word of the program's own, such as the name of a command: it stands in a log without quotes."""


def log_path() -> Path:
    """Return where the log of this user is, by the custom of the system; nothing is made there yet."""
    return user_log_path(PACKAGE, appauthor=False) / NAME


def told(value: object) -> object:
    """Return an argument of a log message as a line has it: a number as it is, what came from outside in quotes.

    >>> told(3), told("blue »12«\\n"), told(OSError(errno.ENOSPC, "No space left"))
    (3, '«blue >12<?»', 'OSError ENOSPC «[Errno 28] No space left»')
    """
    if isinstance(value, Enum):
        return value.name
    if value is None or isinstance(value, bool | int | float | Ours):
        return value
    if isinstance(value, BaseException):
        return f"{' from '.join(' '.join(_kind_of(one)) for one in _with_causes(value))} {quoted(str(value))}"
    return quoted(str(value))


def quoted(text: str) -> str:
    """Return a text from outside between the marks, which it cannot end itself; who signs in to an address is left out.

    >>> quoted("db://ann:secret@shop/results")
    '«db://...@shop/results»'
    """
    text = SIGNED_IN.sub("...@", text)
    return f"{OPENING}{printable(short(text)).replace(OPENING, '<').replace(CLOSING, '>')}{CLOSING}"


def _kind_of(error: BaseException) -> Iterator[str]:
    """Tell the class of an error and the lines that raised it, which name its words without what they quote."""
    yield type(error).__name__
    if isinstance(error, OSError) and error.errno:
        yield errno.errorcode.get(error.errno, str(error.errno))
    places = [*_places_in(error.__traceback__)][-FRAMES:]
    if places:
        yield f"at {' < '.join(reversed(places))}"


def _with_causes(error: BaseException | None) -> list[BaseException]:
    """Return an error and what caused it, each once: one may have been raised from itself."""
    found: list[BaseException] = []
    while error is not None and all(error is not one for one in found):
        found.append(error)
        error = error.__cause__
    return found


def _places_in(trace: TracebackType | None) -> Iterator[str]:
    """Module and line of each frame that is of this program, outermost first."""
    while trace is not None:
        module = str(trace.tb_frame.f_globals.get("__name__", ""))
        if module.startswith(f"{PACKAGE}."):
            yield f"{module.removeprefix(f'{PACKAGE}.')}:{trace.tb_lineno}"
        trace = trace.tb_next


class LogLine(logging.Formatter):
    """One line for each message: when (UTC), how grave, which module, which process, and what."""

    def __init__(self, process: int | None = None) -> None:
        super().__init__()
        self._process = os.getpid() if process is None else process

    def format(self, record: logging.LogRecord) -> str:
        """Return the line of a message."""
        when = datetime.fromtimestamp(record.created, UTC).strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3]
        arguments: Any = record.args or ()
        words = record.msg % tuple(map(told, arguments)) if arguments else record.msg
        module = record.name.removeprefix(f"{PACKAGE}.")
        return f"{when}Z {record.levelname} {module} [{self._process}] {words}"


class LogFile(RotatingFileHandler):
    """The file of the log, made with its folder at the first message, and begun anew when it is large.

    Several programs write to it at once: before each message the name is looked up again. `complain` is told once when
    it cannot be written; nothing else comes of that.
    """

    def __init__(self, path: Path, complain: Callable[[str], None]) -> None:
        super().__init__(path, maxBytes=LARGEST_BYTES, backupCount=KEPT, encoding="utf-8", delay=True)
        self.rotator = _moved
        self._complain: Callable[[str], None] | None = complain

    def emit(self, record: logging.LogRecord) -> None:
        """Write a message, to the file that bears the name now."""
        if self.stream is not None and not self._is_of_the_name(self.stream):
            self._let_go(self.stream)
        super().emit(record)

    def _is_of_the_name(self, stream: TextIO) -> bool:
        try:
            return os.path.samestat(Path(self.baseFilename).stat(), os.fstat(stream.fileno()))
        except OSError:
            return False

    def _open(self) -> Any:
        Path(self.baseFilename).parent.mkdir(mode=0o700, parents=True, exist_ok=True)  # paths tell who works here
        return super()._open()

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802
        """Say once that the log cannot be written, and go on."""
        complain, self._complain = self._complain, None
        if complain is not None:
            complain(f"the log {self.baseFilename} cannot be written, and what happens is not noted; all else goes on")

    def close(self) -> None:
        """Close the file; what a full disk did not take is let go."""
        if self.stream is not None:
            self._let_go(self.stream)
        super().close()

    def _let_go(self, stream: TextIO) -> None:
        with suppress(OSError):
            stream.close()
        self.stream = None  # the next message opens it again


def _moved(source: str, target: str) -> None:
    with suppress(OSError):  # another program has it open, where that forbids it: it grows on
        os.replace(source, target)  # noqa: PTH105


@contextmanager
def logging_to(path: Path, complain: Callable[[str], None], shown: TextIO | None = None) -> Iterator[None]:
    """Log to a file while the block lasts, and everything also to `shown`, in more detail, when it is given."""
    logger = logging.getLogger(PACKAGE)
    handlers: list[logging.Handler] = [LogFile(path, complain)]
    if shown is not None:
        handlers.append(logging.StreamHandler(shown))
    before = logger.level
    logger.setLevel(logging.INFO if shown is None else logging.DEBUG)
    for handler in handlers:
        handler.setFormatter(LogLine())
        logger.addHandler(handler)
    try:
        yield
    finally:
        logger.setLevel(before)
        for handler in handlers:
            logger.removeHandler(handler)
            handler.close()
