"""A desk at which a session and its clients meet: the session asks, every client sees it, the first answer counts.

The session's thread calls `ask` and waits. A client (the terminal, the page) looks at `posted`, shows it, and calls
`answer` with the number of what it saw: an answer that comes after another client's is refused and starts nothing.

>>> desk = Desk()
>>> desk.say("Shaft 12 is next.")
>>> [notice.words for notice in desk.notices(after=0)], desk.posted()
(['Shaft 12 is next.'], None)
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from enum import StrEnum
from threading import Condition

from midspan.base.errors import ReadingsError
from midspan.conversation.prompts import Answer, Prompt

SLICE_S = 0.2  # longest wait at a time: where a lock cannot be interrupted, Ctrl-C is noticed after it
KEPT_NOTICES = 500  # a client that looks more seldom than this misses the oldest
LEFT = "left"  # code of the error when nobody can answer any more


class NoticeKind(StrEnum):
    """What a notice is: a line to read, a verdict, a sound to make, or what the session does now."""

    LINE = "line"
    VERDICT = "verdict"
    SOUND = "sound"
    STATE = "state"


@dataclass(frozen=True, slots=True)
class Posted:
    """A prompt on the desk.

    Parameters
    ----------
    serial : int
        Number of this asking; the same prompt asked again has another.
    prompt : Prompt
        The question.
    """

    serial: int
    prompt: Prompt


@dataclass(frozen=True, slots=True)
class DeskNotice:
    """Something to show that needs no answer.

    Parameters
    ----------
    serial : int
        Number of the notice; later ones have larger numbers.
    kind : NoticeKind
        What it is.
    words : str
        The line; for a sound its name, for a state what is done now.
    large : tuple of str
        Lines to show so large that they are read from across the room; empty for none.
    """

    serial: int
    kind: NoticeKind
    words: str
    large: tuple[str, ...] = ()


Watcher = Callable[["DeskNotice | Posted | None"], None]


class Desk:
    """Where a session asks and clients answer; a `Conversation` for the session. Any thread may call any method.

    Examples
    --------
    >>> from midspan.conversation.questions import instruction
    >>> desk = Desk()
    >>> desk.watch(lambda shown: desk.answer(shown.serial, "") if isinstance(shown, Posted) else None)
    >>> desk.ask(instruction("lay in", "Lay the shaft in."))
    Answer(choice='done', text='')
    """

    def __init__(self) -> None:
        self._changed = Condition()
        self._serial = 0
        self._posted: Posted | None = None
        self._answer: Answer | None = None
        self._left = ""
        self._notices: list[DeskNotice] = []
        self._watchers: list[Watcher] = []

    # For the session

    def ask(self, prompt: Prompt) -> Answer:
        """Post a prompt and return the first answer to it.

        Parameters
        ----------
        prompt : Prompt
            The question.

        Returns
        -------
        Answer
            The answer.

        Raises
        ------
        ReadingsError
            Nobody can answer any more (code "left").
        """
        with self._changed:
            self._serial += 1
            posted = self._posted = Posted(self._serial, prompt)
            self._answer = None
            self._changed.notify_all()
        try:
            self._show(posted)
            return self._awaited(prompt)
        finally:
            with self._changed:
                self._posted = None
                self._changed.notify_all()
            self._show(None)

    def _awaited(self, prompt: Prompt) -> Answer:
        """Wait for the answer to the posted prompt and return it."""
        with self._changed:
            while self._answer is None:
                if self._left:
                    raise ReadingsError(f"{self._left}: nobody answers {prompt.words!r}", code=LEFT)
                self._changed.wait(SLICE_S)
            return self._answer

    def say(self, words: str) -> None:
        """Show a line that needs no answer.

        Parameters
        ----------
        words : str
            The line.
        """
        self.tell(NoticeKind.LINE, words)

    def tell(self, kind: NoticeKind, words: str, large: tuple[str, ...] = ()) -> None:
        """Show a notice.

        Parameters
        ----------
        kind : NoticeKind
            What it is.
        words : str
            The line; for a sound its name.
        large : tuple of str
            Lines to show large.
        """
        with self._changed:
            self._serial += 1
            notice = DeskNotice(self._serial, kind, words, large)
            self._notices = [*self._notices[1 - KEPT_NOTICES :], notice]
            self._changed.notify_all()
        self._show(notice)

    # For clients

    def posted(self) -> Posted | None:
        """Return the prompt that waits for an answer.

        Returns
        -------
        Posted | None
            The prompt with its number, None while nothing is asked.
        """
        with self._changed:
            return None if self._answer is not None else self._posted

    def answer(self, serial: int, typed: str) -> Answer:
        """Answer the prompt with a number, if it still waits.

        Parameters
        ----------
        serial : int
            Number of the prompt that was seen when the line was typed.
        typed : str
            The line.

        Returns
        -------
        Answer
            What the line means.

        Raises
        ------
        ReadingsError
            Another prompt is there by now, or none (code "stale_answer"); the line is none of the choices (code
            "no_choice").
        """
        with self._changed:
            posted = self._posted
            if posted is None or posted.serial != serial or self._answer is not None:
                raise ReadingsError(
                    "this question was answered elsewhere, or is over; look at the newest and answer that",
                    code="stale_answer",
                )
            self._answer = posted.prompt.answer_of(typed)
            self._changed.notify_all()
            return self._answer

    def notices(self, after: int = 0) -> list[DeskNotice]:
        """Return the notices that came after one of them, oldest first.

        Parameters
        ----------
        after : int
            Number of the last notice seen; 0 for none.

        Returns
        -------
        list[DeskNotice]
            The notices; of more than 500 the newest.
        """
        with self._changed:
            return [notice for notice in self._notices if notice.serial > after]

    def watch(self, watcher: Watcher) -> None:
        """Have a client told of everything at once, in the thread of the session.

        Parameters
        ----------
        watcher : callable
            Called with each notice, with each prompt as it is posted, and with None when a prompt is over.
        """
        self._watchers.append(watcher)

    def leave(self, words: str) -> None:
        """Say that nobody can answer any more, because the only client is gone; what is asked then raises an error.

        Parameters
        ----------
        words : str
            Reason, for people.
        """
        with self._changed:
            self._left = words
            self._changed.notify_all()

    def _show(self, shown: DeskNotice | Posted | None) -> None:
        """Tell the clients that watch."""
        for watcher in self._watchers:
            with suppress(OSError):  # a terminal that is gone is no reason to lose a measurement
                watcher(shown)
