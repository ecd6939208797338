"""The person at the board: say what to do, wait until it is done, and ask what only eyes can tell."""

from __future__ import annotations

from collections.abc import Callable

from midspan.board.signal_tests import SignalCheck, SignalOutcome


class Person:
    """The person at the gauge.

    Parameters
    ----------
    ask : Callable[[str], str]
        Shows a question and returns the answer.
    say : Callable[[str], None]
        Shows a text.
    by_itself : bool
        True if nobody is there: nothing is waited for, and what only eyes can tell stays unseen.
    """

    def __init__(self, ask: Callable[[str], str], say: Callable[[str], None], *, by_itself: bool) -> None:
        self._ask, self.say, self.by_itself = ask, say, by_itself

    def do(self, text: str) -> None:
        """Say what to do and wait until it is done.

        Parameters
        ----------
        text : str
            Instruction.
        """
        if self.by_itself:
            self.say(text)
        else:
            self._ask(f"{text} Enter when done")

    def sees(self, text: str) -> bool | None:
        """Ask a question about what can be seen.

        Parameters
        ----------
        text : str
            Question to answer with yes or no.

        Returns
        -------
        bool | None
            The answer; None if nobody is there.
        """
        if self.by_itself:
            self.say(f"{text} (nobody looks)")
            return None
        answer = ""
        while answer[:1] not in ("y", "n"):
            answer = self._ask(f"{text} y or n").strip().lower()
        return answer[0] == "y"


def seen(name: str, answer: bool | None, words: str, advice: str) -> SignalCheck:
    """Return the check that rests on what the person saw.

    Parameters
    ----------
    name : str
        Name of the check.
    answer : bool | None
        True if all is well; None if nobody was there to see.
    words : str
        What was to be seen.
    advice : str
        What to do if it was not seen.

    Returns
    -------
    SignalCheck
        Good, to be looked at, or not seen.
    """
    if answer is None:
        return SignalCheck(name, SignalOutcome.UNSEEN, words)
    return (
        SignalCheck(name, SignalOutcome.GOOD, words)
        if answer
        else SignalCheck(name, SignalOutcome.LOOK, f"not so: {words}; {advice}")
    )
