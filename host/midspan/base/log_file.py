"""The log of what Midspan did: how its lines read and where they are written.

A line is in the words of the program. Everything from outside (a name, a path, a message of another program) is put in
«quotes», so that a diagnosis can leave out what is private. Each module logs to `logging.getLogger(__name__)`; the
message is a constant and all that varies is in its arguments.

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
LARGEST_BYTES = 1_000_000  # of one file; a shaft of an uneventful run writes a thousandth of it
KEPT = 3  # older files
FRAMES = 4  # innermost frames of Midspan's own code that are logged of an error
OPENING, CLOSING = "«", "»"
SIGNED_IN = re.compile(r"(?<=://)[^/\s]+@")  # name and password in a network address
LINE = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z [A-Z]+ [\w.]+ \[\d+\] ")  # start of each line


class Ours(str):
    """A word of the program's own, such as the name of a command: the log shows it without quotes."""


def log_path() -> Path:
    """Return the path of this user's log, where the system keeps logs.

    Returns
    -------
    Path
        The newest file; it need not exist yet.
    """
    return user_log_path(PACKAGE, appauthor=False) / NAME


def log_argument(value: object) -> object:
    """Return an argument of a log message as the line shows it: numbers unchanged, text from outside in quotes.

    Parameters
    ----------
    value : object
        The argument: a number, a flag, an enum member, an error, or anything that can be written as text.

    Returns
    -------
    object
        The value itself if it is None, a flag, a number or a word of the program's own, else its text.

    Examples
    --------
    >>> log_argument(3), log_argument("blue »12«\\n"), log_argument(OSError(errno.ENOSPC, "No space left"))
    (3, '«blue >12<?»', 'OSError ENOSPC «[Errno 28] No space left»')
    """
    if isinstance(value, Enum):
        return value.name
    if value is None or isinstance(value, bool | int | float | Ours):
        return value
    if isinstance(value, BaseException):
        return f"{' from '.join(' '.join(_kind_of(error)) for error in _with_causes(value))} {quoted(str(value))}"
    return quoted(str(value))


def quoted(text: str) -> str:
    """Return text from outside in quotes that the text itself cannot close, without passwords of addresses.

    Parameters
    ----------
    text : str
        Text that a person, a file or another program supplied.

    Returns
    -------
    str
        The text on one line, long pieces cut, between « and ».

    Examples
    --------
    >>> quoted("db://ann:secret@shop/results")
    '«db://...@shop/results»'
    """
    text = SIGNED_IN.sub("...@", text)
    return f"{OPENING}{printable(short(text)).replace(OPENING, '<').replace(CLOSING, '>')}{CLOSING}"


def _kind_of(error: BaseException) -> Iterator[str]:
    """Yield the class of an error, its system code and the lines that raised it: all of it in Midspan's own words."""
    yield type(error).__name__
    if isinstance(error, OSError) and error.errno:
        yield errno.errorcode.get(error.errno, str(error.errno))
    places = [*_places_in(error.__traceback__)][-FRAMES:]
    if places:
        yield f"at {' < '.join(reversed(places))}"


def _with_causes(error: BaseException | None) -> list[BaseException]:
    """Return an error and its chain of causes, each once, because an error can be its own cause."""
    found: list[BaseException] = []
    while error is not None and all(error is not known for known in found):
        found.append(error)
        error = error.__cause__
    return found


def _places_in(trace: TracebackType | None) -> Iterator[str]:
    """Yield module and line of each frame of a traceback that is Midspan's own code, outermost first."""
    while trace is not None:
        module = str(trace.tb_frame.f_globals.get("__name__", ""))
        if module.startswith(f"{PACKAGE}."):
            yield f"{module.removeprefix(f'{PACKAGE}.')}:{trace.tb_lineno}"
        trace = trace.tb_next


class LogLine(logging.Formatter):
    """Formatter of one line: time (UTC), level, module, process, message.

    Parameters
    ----------
    process : int or None
        Number of the process in the lines; None for that of this program.
    """

    def __init__(self, process: int | None = None) -> None:
        super().__init__()
        self._process = os.getpid() if process is None else process

    def format(self, record: logging.LogRecord) -> str:
        """Return the line for a message.

        Parameters
        ----------
        record : logging.LogRecord
            The message and its arguments.

        Returns
        -------
        str
            The line, its arguments as `log_argument` shows them.
        """
        when = datetime.fromtimestamp(record.created, UTC).strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3]
        arguments: Any = record.args or ()
        words = record.msg % tuple(map(log_argument, arguments)) if arguments else record.msg
        module = record.name.removeprefix(f"{PACKAGE}.")
        return f"{when}Z {record.levelname} {module} [{self._process}] {words}"


class LogFile(RotatingFileHandler):
    """The log's file, created with its folder at the first message, and replaced by a new one when it is large.

    Several programs write to it at once, and any of them may have replaced it: before each message the name is looked
    up again. When the file cannot be written, it complains once and the program goes on.

    Parameters
    ----------
    path : Path
        The file.
    complain : Callable[[str], None]
        Called once with a sentence when the file cannot be written.
    """

    def __init__(self, path: Path, complain: Callable[[str], None]) -> None:
        super().__init__(path, maxBytes=LARGEST_BYTES, backupCount=KEPT, encoding="utf-8", delay=True)
        self.rotator = _moved
        self._complain: Callable[[str], None] | None = complain

    def emit(self, record: logging.LogRecord) -> None:
        """Write a message to the file that has the name now.

        Parameters
        ----------
        record : logging.LogRecord
            The message and its arguments.
        """
        if self.stream is not None and not self._is_current(self.stream):
            self._let_go(self.stream)
        super().emit(record)

    def _is_current(self, stream: TextIO) -> bool:
        """Return True if the open file is still the one with the log's name."""
        try:
            return os.path.samestat(Path(self.baseFilename).stat(), os.fstat(stream.fileno()))
        except OSError:
            return False

    def _open(self) -> Any:
        Path(self.baseFilename).parent.mkdir(mode=0o700, parents=True, exist_ok=True)  # private: paths name people
        return super()._open()

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802
        """Complain once that the log cannot be written, and let the program go on.

        Parameters
        ----------
        record : logging.LogRecord
            The message that was not written.
        """
        complain, self._complain = self._complain, None
        if complain is not None:
            complain(f"the log {self.baseFilename} cannot be written, and what happens is not noted; all else goes on")

    def close(self) -> None:
        """Close the file, and drop what a full disk did not take."""
        if self.stream is not None:
            self._let_go(self.stream)
        super().close()

    def _let_go(self, stream: TextIO) -> None:
        """Close a stream, ignoring what the system refuses; the next message opens the file again."""
        with suppress(OSError):
            stream.close()
        self.stream = None


def _moved(source: str, target: str) -> None:
    """Rename a full log; where another program has it open and the system forbids that, the file keeps growing."""
    with suppress(OSError):
        os.replace(source, target)  # noqa: PTH105


@contextmanager
def logging_to(path: Path, complain: Callable[[str], None], shown: TextIO | None = None) -> Iterator[None]:
    """Log to a file while a block runs.

    Parameters
    ----------
    path : Path
        The log; its folder is made if necessary.
    complain : Callable[[str], None]
        Called once with a sentence when the log cannot be written.
    shown : TextIO or None
        Stream that also gets every line, and makes the log more detailed; None for the file alone.

    Yields
    ------
    None
        Nothing; the block runs here.
    """
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
