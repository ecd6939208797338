"""The person at the board: told what to do, waited for, and asked for what only eyes can tell."""

from __future__ import annotations

from collections.abc import Callable

from midspan.board.signal_tests import SignalCheck, SignalOutcome


class Person:
    """Who stands at the gauge; `by_itself` nobody does, and what only eyes can tell stays unseen."""

    def __init__(self, ask: Callable[[str], str], say: Callable[[str], None], *, by_itself: bool) -> None:
        self._ask, self.say, self.by_itself = ask, say, by_itself

    def do(self, text: str) -> None:
        """Say what to do, and go on when it is done."""
        if self.by_itself:
            self.say(text)
        else:
            self._ask(f"{text} Enter when done")

    def sees(self, text: str) -> bool | None:
        """Ask what is to be seen; None when nobody looks."""
        if self.by_itself:
            self.say(f"{text} (nobody looks)")
            return None
        answer = ""
        while answer[:1] not in ("y", "n"):
            answer = self._ask(f"{text} y or n").strip().lower()
        return answer[0] == "y"


def seen(name: str, answer: bool | None, words: str, advice: str) -> SignalCheck:
    """The check that rests on what the person saw."""
    if answer is None:
        return SignalCheck(name, SignalOutcome.UNSEEN, words)
    return (
        SignalCheck(name, SignalOutcome.GOOD, words)
        if answer
        else SignalCheck(name, SignalOutcome.LOOK, f"not so: {words}; {advice}")
    )
