"""Prompts that a session asks and answers that a client gives.

A prompt has an id that stays the same in every language and version of its words, so tests and clients go by ids.

>>> again = PromptChoice("repeat", "r", "measure this shaft again")
>>> start = PromptChoice("start", "", "measure")
>>> Prompt("lay next", "Lay the next shaft in, then Enter.", (start, again)).answer_of("r")
Answer(choice='repeat', text='')
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Protocol

from midspan.base.errors import ReadingsError
from midspan.base.plain_text import brief


@dataclass(frozen=True, slots=True)
class PromptChoice:
    """One of the things a person can choose at a prompt.

    Parameters
    ----------
    id : str
        What a session goes by.
    key : str
        What is typed for it before Enter; empty for Enter alone.
    words : str
        What it does, for people.
    text : str
        What may be typed after the key, on the same line ("a weight"); empty if the key stands alone.
    why_not : str
        Why the choice means nothing now, empty if it does: such a key is refused, and is no free text either.
    """

    id: str
    key: str
    words: str
    text: str = ""
    why_not: str = ""

    @property
    def first_word(self) -> str:
        """First of its words in small letters, which a person may type instead of the key."""
        return re.split(r"\W+", self.words.lower(), maxsplit=1)[0]

    def after_key(self, line: str) -> str | None:
        """Return what stands after the key of this choice in a line.

        Parameters
        ----------
        line : str
            What was typed, without spaces around it.

        Returns
        -------
        str or None
            The text after the key, empty for the key alone; None if the line does not mean this choice.
        """
        key, _, after = line.partition(" ")
        if line.lower() == self.key.lower():
            return ""
        return after.strip() if self.text and key.lower() == self.key.lower() else None


@dataclass(frozen=True, slots=True)
class Answer:
    """Answer to a prompt: a choice, perhaps with a text after its key, or a text that none of the choices means.

    Parameters
    ----------
    choice : str
        Id of the choice, empty for a text alone.
    text : str
        What was typed; of a choice, what stood after its key.
    """

    choice: str = ""
    text: str = ""


@dataclass(frozen=True, slots=True)
class Prompt:
    """A question with the answers that it takes.

    Parameters
    ----------
    id : str
        What tells this question from all others, whatever its words.
    words : str
        The question, for people.
    choices : tuple of PromptChoice
        Keys that are taken; empty for none.
    text : str
        What a free text means ("a label"), empty if no free text is taken.
    default : str
        Text that Enter alone gives where no choice has that key, shown beside the question.
    part : str
        Which of a series this is ("5 of 33", "90 degrees, round 2"), empty for a question that comes once.
    lists_keys : bool
        False if a client is to show only the key ? beside the question, because the session told the others.
    """

    id: str
    words: str
    choices: tuple[PromptChoice, ...] = ()
    text: str = ""
    default: str = ""
    part: str = ""
    lists_keys: bool = True

    def answer_of(self, typed: str) -> Answer:
        """Return what a typed line means here.

        Where no free text is taken, the id of a choice and the first of its words stand for it as well as its key.

        Parameters
        ----------
        typed : str
            The line, without its end.

        Returns
        -------
        Answer
            Choice or text.

        Raises
        ------
        ReadingsError
            The line is no choice, and no text is taken (code "no_choice"); or the choice means nothing now
            (code "not_now").

        Examples
        --------
        >>> Prompt("operator", "Who measures?", text="a name", default="Ann").answer_of("")
        Answer(choice='', text='Ann')
        >>> Prompt("wood", "In pounds?", (PromptChoice("both", "b", "yes, beside it"),)).answer_of("Yes")
        Answer(choice='both', text='')
        >>> weigh = PromptChoice("weigh", "w", "weight", text="a weight")
        >>> Prompt("lay next", "Lay a shaft in", (weigh,), text="a label").answer_of("w 312.4")
        Answer(choice='weigh', text='312.4')
        """
        line = typed.strip()
        for choice in self.choices:
            after = choice.after_key(line)
            if after is not None and choice.why_not:
                raise ReadingsError(f"{choice.key} ({choice.words}): {choice.why_not}", code="not_now")
            if after is not None:
                return Answer(choice.id, after)
        if self.text:
            return Answer(text=line or self.default)
        for choice in self.choices:
            if line and line.lower() in (choice.id.lower(), choice.first_word):
                return Answer(choice.id)
        keys = ", ".join(f"{choice.key or 'Enter'} ({choice.words})" for choice in self.choices if not choice.why_not)
        raise ReadingsError(f"{brief(line)!r} is not one of the choices: {keys}", code="no_choice")


class Conversation(Protocol):
    """What a session talks to: one client, or a desk at which several meet."""

    def ask(self, prompt: Prompt) -> Answer:
        """Show a prompt and return its answer; asks again until the answer is one that the prompt takes.

        Parameters
        ----------
        prompt : Prompt
            The question.

        Returns
        -------
        Answer
            The answer.
        """

    def say(self, words: str) -> None:
        """Show a line that needs no answer.

        Parameters
        ----------
        words : str
            The line.
        """
