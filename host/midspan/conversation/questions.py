"""Questions that recur in every session: an instruction to carry out, a number within limits, yes or no.

Also who answers where nobody is there.

>>> number_asked(Unattended(print), number_prompt("bar diameter", "Diameter of the bar, in mm", "25"), (5.0, 200.0))
Diameter of the bar, in mm: 25
25.0
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from midspan.base.csv_table import number_in
from midspan.base.errors import ConfigurationError, ReadingsError
from midspan.conversation.prompts import Answer, Conversation, Prompt, PromptChoice

DONE = PromptChoice("done", "", "done")
YES = PromptChoice("yes", "y", "yes")
NO = PromptChoice("no", "n", "no")
HELP_KEY = "?"


def instruction(name: str, words: str, part: str = "") -> Prompt:
    """Return a prompt that says what to do and waits for Enter.

    Parameters
    ----------
    name : str
        What tells this instruction from all others.
    words : str
        What to do, a sentence.
    part : str
        Which of a series it is.

    Returns
    -------
    Prompt
        The prompt.
    """
    return Prompt(name, words, (DONE,), part=part)


def number_prompt(name: str, words: str, default: str = "", part: str = "") -> Prompt:
    """Return a prompt that takes a number.

    Parameters
    ----------
    name : str
        What tells this question from all others.
    words : str
        The question with its unit.
    default : str
        Number that Enter alone gives; empty if there is no honest one.
    part : str
        Which of a series it is.

    Returns
    -------
    Prompt
        The prompt.
    """
    return Prompt(name, words, (), "a number", default, part)


def is_yes(talk: Conversation, name: str, words: str) -> bool:
    """Return the answer to a question of yes or no.

    Parameters
    ----------
    talk : Conversation
        Who asks.
    name : str
        What tells this question from all others.
    words : str
        The question.

    Returns
    -------
    bool
        True for yes.
    """
    return talk.ask(Prompt(name, words, (YES, NO))).choice == YES.id


def number_asked(talk: Conversation, prompt: Prompt, limits: tuple[float, float] = (-math.inf, math.inf)) -> float:
    """Return the number that a person types; asks again until it is a number within the limits.

    Parameters
    ----------
    talk : Conversation
        Who asks.
    prompt : Prompt
        The question, without choices.
    limits : tuple of float
        Lowest and highest number that is taken.

    Returns
    -------
    float
        The number.

    Raises
    ------
    ConfigurationError
        Nobody is there to ask (code "nobody").
    ReadingsError
        The prompt has choices, and one of them was made (code "choice").
    """
    number = number_or_none(talk, prompt, limits)
    if number is None:
        raise ReadingsError(f"{prompt.words}: a number is wanted, and the prompt has choices", code="choice")
    return number


def number_or_none(
    talk: Conversation, prompt: Prompt, limits: tuple[float, float] = (-math.inf, math.inf)
) -> float | None:
    """Return the number that a person types, or None where a choice is made instead ("not known").

    Parameters
    ----------
    talk : Conversation
        Who asks.
    prompt : Prompt
        The question, with its choices.
    limits : tuple of float
        Lowest and highest number that is taken.

    Returns
    -------
    float or None
        The number, None for any of the choices.

    Raises
    ------
    ConfigurationError
        Nobody is there to ask (code "nobody").
    """
    while not (answer := talk.ask(prompt)).choice:
        try:
            number = number_in(answer.text, "the answer")
            _check_within(number, limits)
        except ReadingsError as error:
            talk.say(f"  {error}")
            continue
        return number
    return None


def _check_within(number: float, limits: tuple[float, float]) -> None:
    """Raise ReadingsError (code "out_of_range") unless a number is within limits."""
    if not limits[0] <= number <= limits[1]:
        raise ReadingsError(f"{number:g} is not between {limits[0]:g} and {limits[1]:g}", code="out_of_range")


@dataclass(frozen=True)
class Unattended:
    """A conversation in which nobody answers: each prompt takes what Enter alone would give.

    Parameters
    ----------
    show : callable
        Shows a line of text.
    """

    show: Callable[[str], object]

    def ask(self, prompt: Prompt) -> Answer:
        """Show a prompt with the answer that Enter gives, and return that answer.

        Parameters
        ----------
        prompt : Prompt
            The question.

        Returns
        -------
        Answer
            What Enter alone means here.

        Raises
        ------
        ConfigurationError
            Enter alone means nothing here (code "nobody").
        """
        enter = next((choice for choice in prompt.choices if not choice.key), None)
        if enter is None and not prompt.default:
            raise ConfigurationError(
                f"{prompt.words}: nobody is there to answer; give it as an option, or leave --yes out", code="nobody"
            )
        answered = prompt.default if enter is None else enter.words
        is_instruction = enter is not None and len(prompt.choices) == 1 and not prompt.text
        words = prompt.words if is_instruction else f"{prompt.words.rstrip('?')}: {answered}"
        self.show(with_part(replace(prompt, words=words)))
        return prompt.answer_of("")

    def say(self, words: str) -> None:
        """Show a line.

        Parameters
        ----------
        words : str
            The line.
        """
        self.show(words)


def with_part(prompt: Prompt) -> str:
    """Return the words of a prompt, preceded by which of a series it is.

    Parameters
    ----------
    prompt : Prompt
        The prompt.

    Returns
    -------
    str
        Text of one line.

    Examples
    --------
    >>> with_part(instruction("put on", "Put 200 g on.", "2 of 33"))
    '[2 of 33] Put 200 g on.'
    """
    return f"[{prompt.part}] {prompt.words}" if prompt.part else prompt.words


def line_of(prompt: Prompt) -> str:
    """Return a prompt as a terminal shows it, with its keys and its default.

    Parameters
    ----------
    prompt : Prompt
        The prompt.

    Returns
    -------
    str
        Text of one line.

    Examples
    --------
    >>> line_of(instruction("put on", "Put 200 g on.", "2 of 33"))
    '[2 of 33] Put 200 g on. (Enter: done)'
    >>> line_of(number_prompt("bar diameter", "Diameter of the bar, in mm", "25"))
    'Diameter of the bar, in mm [25]'
    """
    shown = prompt.choices if prompt.lists_keys else [choice for choice in prompt.choices if choice.key == HELP_KEY]
    keys = keys_of(shown)
    return with_part(prompt) + (f" ({keys})" if keys else "") + (f" [{prompt.default}]" if prompt.default else "")


def keys_of(choices: Iterable[PromptChoice]) -> str:
    """Return the keys of the choices that mean something now, with what each does.

    Parameters
    ----------
    choices : iterable of PromptChoice
        Choices of a prompt.

    Returns
    -------
    str
        Text of one line, empty without choices.

    Examples
    --------
    >>> keys_of((YES, NO))
    'y: yes, n: no'
    """
    told = (choice for choice in choices if not choice.why_not)
    return ", ".join(f"{choice.key or 'Enter'}: {choice.words}" for choice in told)
