"""The terminal as a client of a desk: shows what a session asks, reads lines, rings the bell.

On a real terminal a thread of its own reads, and what was typed before a question stood there is thrown away: nothing
may start by a key that was pressed too early. From a pipe or a file, lines are read as they are asked for.
"""

import os
import select
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from queue import Queue
from shutil import get_terminal_size
from threading import Thread
from time import sleep
from typing import TYPE_CHECKING

from midspan.base.errors import ReadingsError
from midspan.cli.screen import aside
from midspan.conversation.desk import Desk, DeskNotice, NoticeKind, Posted
from midspan.conversation.questions import line_of

LOOK_S = 0.1  # between two looks whether a line was typed
RING_S = 0.22  # between two strokes of the bell; quicker ones run together
if TYPE_CHECKING:
    from midspan.workspace.settings import Workspace

INK, PLAIN_INK = "█", "#"
ENDED = "the input ended"
BELLS = {"accepted": 1, "rejected": 2, "doubtful": 3, "fault": 5}


@contextmanager
def desk_here(strokes: Mapping[str, int] | None = None) -> Iterator[Desk]:
    """Yield a desk with this terminal as its client; `strokes` of the bell for each sound, None for silence."""
    desk = Desk()
    desk.watch(TerminalClient(desk, strokes or {}).shown)
    yield desk


def strokes_of(workspace: "Workspace | None", *, quiet: bool) -> dict[str, int]:
    """Return the strokes of the bell for each sound, as the workspace says; none where it is to be quiet."""
    if quiet or (workspace is not None and not workspace.session.sound):
        return {}
    stated = {} if workspace is None else workspace.session.bells
    return BELLS | dict(stated.items())


class TerminalClient:
    """Standard error to show, standard input to read; `strokes` are those of the bell for each sound."""

    def __init__(self, desk: Desk, strokes: Mapping[str, int]) -> None:
        self._desk, self._strokes = desk, strokes
        self._to_read: Queue[Posted] = Queue()
        self._reads_apart = _is_terminal()
        if self._reads_apart:
            Thread(target=self._read, name="terminal", daemon=True).start()

    def shown(self, shown: DeskNotice | Posted | None) -> None:
        """Show a notice or a prompt; from a pipe, also answer the prompt."""
        if isinstance(shown, DeskNotice):
            self._show(shown)
        elif shown is None:
            _forget_typed_ahead(self._reads_apart)  # what was typed for a question that is over
        else:
            _forget_typed_ahead(self._reads_apart)
            _show_prompt(shown)
            if self._reads_apart:
                self._to_read.put(shown)  # only now, or what was typed ahead would be read before it is thrown away
            else:
                self._answer_from_pipe(shown)

    def _show(self, notice: DeskNotice) -> None:
        """Show a notice, or ring the bell."""
        if notice.kind is NoticeKind.SOUND:
            self._ring(self._strokes.get(notice.words, 0))
            return
        for line in notice.large:
            for row in _large(line):
                aside(row)
            aside("")
        aside(notice.words)

    def _ring(self, times: int) -> None:
        """Ring the bell of a terminal; nothing where the output goes elsewhere."""
        stream = getattr(sys.stderr, "styled", sys.stderr)  # the bell is a control character, which text may not have
        if times and stream.isatty():
            Thread(target=_rings, args=(stream, times), daemon=True).start()

    def _answer_from_pipe(self, posted: Posted) -> None:
        """Read lines until one is an answer."""
        while True:
            line = sys.stdin.readline()
            if not line:
                self._desk.leave(ENDED)
                return
            aside(line.rstrip("\r\n"))
            if self._answered(posted, line):
                return

    def _answered(self, posted: Posted, line: str) -> bool:
        """Answer a prompt with a line; False if the prompt does not take it and still waits."""
        try:
            self._desk.answer(posted.serial, line.rstrip("\r\n"))
        except ReadingsError as error:
            aside(f"  {error}")
            if error.code != "stale_answer":
                _show_prompt(posted)
                return False
        return True

    def _read(self) -> None:
        """Read a terminal for ever: lines for each prompt until it is answered."""
        while True:
            posted = self._to_read.get()
            while (line := self._line_for(posted)) is not None and not self._answered(posted, line):
                pass

    def _line_for(self, posted: Posted) -> str | None:
        """Return the line typed for a prompt, None if the prompt was answered elsewhere or the input ended."""
        while not _line_waits():
            if self._desk.posted() != posted:
                return None
        # Not through sys.stdin: a thread that holds its lock when the program ends makes Python complain.
        typed = os.read(sys.stdin.fileno(), 4096)
        if not typed:
            self._desk.leave(ENDED)
            return None
        return typed.decode(sys.stdin.encoding or "utf-8", "replace")


def _is_terminal() -> bool:
    """Return True if a person types at standard input."""
    with suppress(OSError, ValueError):  # a stream without a file number is none
        return sys.stdin.isatty() and sys.stdin.fileno() >= 0
    return False


def _show_prompt(posted: Posted) -> None:
    """Show a prompt and leave the cursor behind it."""
    print(f"{line_of(posted.prompt)}: ", end="", file=sys.stderr, flush=True)


def _line_waits() -> bool:
    """Return True if a line can be read, after a moment if not; on systems that cannot tell, True."""
    if sys.platform == "win32":
        return True
    return bool(select.select([sys.stdin.fileno()], [], [], LOOK_S)[0])


def _forget_typed_ahead(is_terminal: bool) -> None:
    """Throw away what was typed at a terminal and not read yet."""
    if not is_terminal:
        return
    if sys.platform == "win32":
        import msvcrt

        while msvcrt.kbhit():
            msvcrt.getch()
    else:
        import termios

        termios.tcflush(sys.stdin.fileno(), termios.TCIFLUSH)


def _rings(stream: object, times: int) -> None:
    """Ring the bell a number of times."""
    for stroke in range(times):
        if stroke:
            sleep(RING_S)
        print("\a", end="", file=stream, flush=True)  # type: ignore[call-overload]


def _large(line: str) -> list[str]:
    """Return the rows of a line in block letters on a terminal, the line itself elsewhere."""
    stream = getattr(sys.stderr, "styled", sys.stderr)
    if not stream.isatty():
        return [line]
    from midspan.report.block_letters import block_rows

    columns = get_terminal_size().columns
    try:
        INK.encode(stream.encoding or "ascii")
    except UnicodeEncodeError:
        return block_rows(line, columns, PLAIN_INK)
    return block_rows(line, columns, INK)
