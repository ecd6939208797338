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
    """

    id: str
    key: str
    words: str

    @property
    def first_word(self) -> str:
        """First of its words in small letters, which a person may type instead of the key."""
        return re.split(r"\W+", self.words.lower(), maxsplit=1)[0]


@dataclass(frozen=True, slots=True)
class Answer:
    """Answer to a prompt: a choice, or a text that none of the choices means.

    Parameters
    ----------
    choice : str
        Id of the choice, empty for a text.
    text : str
        What was typed, empty for a choice.
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
    """

    id: str
    words: str
    choices: tuple[PromptChoice, ...] = ()
    text: str = ""
    default: str = ""
    part: str = ""

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
            PromptChoice or text.

        Raises
        ------
        ReadingsError
            The line is no choice, and no text is taken (code "no_choice").

        Examples
        --------
        >>> Prompt("operator", "Who measures?", text="a name", default="Ann").answer_of("")
        Answer(choice='', text='Ann')
        >>> Prompt("wood", "In pounds?", (PromptChoice("both", "b", "yes, beside it"),)).answer_of("Yes")
        Answer(choice='both', text='')
        """
        line = typed.strip()
        for choice in self.choices:
            if line.lower() == choice.key.lower():
                return Answer(choice.id)
        if self.text:
            return Answer(text=line or self.default)
        for choice in self.choices:
            if line and line.lower() in (choice.id.lower(), choice.first_word):
                return Answer(choice.id)
        keys = ", ".join(f"{choice.key or 'Enter'} ({choice.words})" for choice in self.choices)
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
