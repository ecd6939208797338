r"""Streams that a command prints to: harmless on any terminal, readable in any encoding, and never closed.

Also how a person is asked.

>>> import io
>>> beneath = io.StringIO()
>>> print("blue-12\x1b[31m", file=Plain(beneath))
>>> beneath.getvalue()
'blue-12?[31m\n'
"""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, TextIO

import typer

from midspan.base.errors import ReadingsError
from midspan.base.plain_text import READABLE, harmless, short
from midspan.conversation.prompts import Answer, Prompt
from midspan.conversation.questions import line_of


class Plain:
    """A stream on which text cannot steer the terminal; `styled` is the stream beneath, for tables and progress.

    A `forgiving` stream drops what cannot be written: a lost message is no reason to end.
    """

    buffer = None  # otherwise click would bypass this and write bytes

    def __init__(self, styled: TextIO, *, forgiving: bool = False) -> None:
        self.styled, self._forgiving = styled, forgiving
        if hasattr(styled, "reconfigure"):
            styled.reconfigure(errors=READABLE)

    def write(self, text: str) -> int:
        """Write a text without control characters; return its length."""
        plain = harmless(text)
        try:
            self.styled.write(short(plain) if self._forgiving else plain)
        except OSError:
            if not self._forgiving:
                raise
            give_up(self.styled)
        return len(text)

    def flush(self) -> None:
        """Write what is buffered."""
        try:
            self.styled.flush()
        except OSError:
            if not self._forgiving:
                raise
            give_up(self.styled)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.styled, name)


def give_up(stream: TextIO) -> None:
    """Send what is buffered to nowhere; otherwise Python would try to write it at its end and complain."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def aside(text: object) -> None:
    """Print a line on standard error, apart from the output of the command."""
    print(text, file=sys.stderr)


def ask(text: str) -> str:
    """Return what is typed after a prompt on standard error, where --json is not disturbed; Enter alone gives ''."""
    return str(typer.prompt(text, default="", show_default=False, err=True))


class Prompter:
    """The conversation of a command: prompts on standard error, answers typed line by line."""

    def ask(self, prompt: Prompt) -> Answer:
        """Return the answer to a prompt; asks again until the prompt takes it."""
        while True:
            try:
                return prompt.answer_of(ask(line_of(prompt)))
            except ReadingsError as error:
                aside(f"  {error}")

    def say(self, words: str) -> None:
        """Show a line."""
        aside(words)


@contextmanager
def guarded() -> Iterator[None]:
    """Yield while what is printed is made harmless and readable; a stream that is closed leads nowhere."""
    before = sys.stdin, sys.stdout, sys.stderr
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        # If left closed, its number would go to the next file opened, and prints would go into an archive.
        if getattr(sys, name) is None:
            setattr(sys, name, os.fdopen(os.open(os.devnull, os.O_RDWR), "w" if number else "r"))
    sys.stdout, sys.stderr = Plain(sys.stdout), Plain(sys.stderr, forgiving=True)
    try:
        yield
    finally:
        sys.stdin, sys.stdout, sys.stderr = before
