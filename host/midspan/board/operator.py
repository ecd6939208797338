"""The person at the board: say what to do, wait until it is done, and ask what only eyes can tell."""

from __future__ import annotations

from midspan.board.signal_tests import SignalCheck, SignalOutcome
from midspan.conversation.prompts import Conversation
from midspan.conversation.questions import instruction, is_yes


class Person:
    """The person at the gauge.

    Parameters
    ----------
    talk : Conversation
        Asks that person.
    by_itself : bool
        True if nobody is there: nothing is waited for, and what only eyes can tell stays unseen.
    """

    def __init__(self, talk: Conversation, *, by_itself: bool) -> None:
        self._talk, self.by_itself = talk, by_itself

    def say(self, text: str) -> None:
        """Show a line that needs no answer.

        Parameters
        ----------
        text : str
            The line.
        """
        self._talk.say(text)

    def do(self, name: str, text: str) -> None:
        """Say what to do and wait until it is done.

        Parameters
        ----------
        name : str
            Id of the prompt.
        text : str
            Instruction.
        """
        if self.by_itself:
            self.say(text)
        else:
            self._talk.ask(instruction(name, text))

    def sees(self, name: str, text: str) -> bool | None:
        """Ask a question about what can be seen.

        Parameters
        ----------
        name : str
            Id of the prompt.
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
        return is_yes(self._talk, name, text)


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
