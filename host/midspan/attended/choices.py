"""Prompts of a session and the keys that they take, by ids that stay the same whatever their words.

>>> lay_next({"undo": "nothing is void"}).answer_of("R").choice, lay_next({}).answer_of("blue 7").text
('repeat', 'blue 7')
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from midspan.attended.bench import Hindrance
from midspan.conversation.prompts import Prompt, PromptChoice
from midspan.conversation.questions import HELP_KEY

START = PromptChoice("start", "", "measure")
LOOK = PromptChoice("look", "", "look again")
SKIP = PromptChoice("skip", "k", "go on without it")
END = PromptChoice("end", "q", "end")
NO = PromptChoice("no", "n", "no")
CHOICES = (
    START,
    PromptChoice("repeat", "r", "again"),
    PromptChoice("void", "v", "void", "a reason"),
    PromptChoice("undo", "u", "undo void"),
    PromptChoice("note", "n", "note", "a note"),
    PromptChoice("label", "l", "label", "a label"),
    PromptChoice("weigh", "w", "weight", "a weight"),
    PromptChoice("print", "p", "print label"),
    PromptChoice("stiff side", "s", "stiff side up"),
    PromptChoice("help", HELP_KEY, "all keys"),
    END,
)
HELP = (
    "Enter    measure the shaft that lies in the gauge; it gets the next number",
    "text     a label for the shaft you lay in next; the label or number of a known shaft measures that shaft again",
    "-        take back the label typed for the next shaft; give up a shaft that was not finished",
    "r        measure the last shaft again: the new result counts",
    "v, u     void the last measurement, with a reason; undo that",
    "n, l     a note on the last shaft; a label, or another label, for it",
    "w        weight of the last shaft, from the scale if there is one, else typed",
    "p        print a label of the last shaft, if the workspace says how",
    "s        turn the stiff side of the last shaft up, to mark it; only while it was not lifted",
    "q        end, with totals",
    "A text may follow its key at once: w 312.4, n nock scratched, l blue 7, v wrong shaft. A key is never a label.",
)
NO_LABEL = "-"  # typed for no label after all
DEFAULT_REASON = "measured by mistake"


def lay_next(barred: Mapping[str, str], words: str = "Lay the next shaft in, then Enter", part: str = "") -> Prompt:
    """Return the prompt before a shaft is measured.

    Parameters
    ----------
    barred : Mapping[str, str]
        Why choices mean nothing now, by their ids; Enter always means something.
    words : str
        What to do.
    part : str
        What is known of the shaft that comes next.

    Returns
    -------
    Prompt
        The prompt; the session tells its keys once, and the prompt stays short.
    """
    choices = tuple(replace(choice, why_not=barred.get(choice.id, "")) for choice in CHOICES)
    return Prompt("lay next", words, choices, "a label or number", part=part, lists_keys=False)


def lay_standard(name: str, *, ending: bool) -> Prompt:
    """Return the prompt before a check standard is measured.

    Parameters
    ----------
    name : str
        Its name.
    ending : bool
        True for the last check before the end.

    Returns
    -------
    Prompt
        The prompt.
    """
    why = "Last check before the end" if ending else "A check is due"
    choices = (START, SKIP) if ending else (START, SKIP, END)
    return Prompt("lay standard", f"{why}: lay check standard {name} in, then Enter", choices)


def hindered(hindrance: Hindrance) -> Prompt:
    """Return the prompt while the bench cannot measure.

    Parameters
    ----------
    hindrance : Hindrance
        Reason and remedy.

    Returns
    -------
    Prompt
        The prompt; Enter moves the press home if that is the remedy.
    """
    if not hindrance.moves:
        return Prompt("not ready", hindrance.words, (LOOK, END))
    home = PromptChoice("home", "", "the press moves home; hands off")
    return Prompt("clear fault", hindrance.words, (home, END))


def line_lost(words: str) -> Prompt:
    """Return the prompt after the line to the bench was lost.

    Parameters
    ----------
    words : str
        What happened.

    Returns
    -------
    Prompt
        The prompt; nothing moves by Enter.
    """
    return Prompt("line lost", f"{words}. Plug the gauge in, then Enter; nothing moves by that", (LOOK, END))


def measure_to_mark(words: str) -> Prompt:
    """Return the prompt before a shaft is measured again because its angles are not known any more.

    Parameters
    ----------
    words : str
        Why they are not known.

    Returns
    -------
    Prompt
        The prompt.
    """
    return Prompt("measure to mark", f"{words}. Measure it again, then turn its stiff side up?", (START, NO))


def text_asked(name: str, words: str, default: str = "") -> Prompt:
    """Return a prompt that takes a text; Enter alone gives the default, or nothing.

    Parameters
    ----------
    name : str
        Its id.
    words : str
        The question.
    default : str
        What Enter alone gives; without one, it gives nothing up.

    Returns
    -------
    Prompt
        The prompt.
    """
    return Prompt(name, words, () if default else (PromptChoice("no", "", "leave it"),), "a text", default)
