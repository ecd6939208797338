"""What `midspan init` asks: gauge, shop, units, bands to begin with, masses at hand, a check standard.

>>> from midspan.conversation.questions import Unattended
>>> bands_asked(Unattended(print))
Spine numbers that you sort by, in thou, with spaces between: 400 500 600
Width of a band, in thou: 10
BandsBegun(spines_thou=(400.0, 500.0, 600.0), width_thou=10.0)
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from midspan.base.csv_table import number_in
from midspan.base.errors import ReadingsError
from midspan.base.shown_units import AcrossUnit, ShownUnits, WeightUnit, WoodSpine
from midspan.conversation.prompts import Conversation, Prompt, PromptChoice
from midspan.conversation.questions import number_asked, number_or_none, number_prompt

LONGEST_NAME = 64
SOFTEST_THOU, STIFFEST_THOU = 5000.0, 50.0  # what a bands file takes
MOST_MASSES = 14  # of a masses file
NONE = PromptChoice("none", "", "none")
LEFT_OUT = PromptChoice("left out", "", "not known, leave it out")
K_95 = 1.96  # half of a 95 % range in standard uncertainties: JCGM 100:2008, table G.1
NO_BAR_YET = (
    "A check standard is a straight bar, or a shaft kept for this alone, whose spine is known from elsewhere: from a "
    "certificate, or measured several times by weight and dial (midspan hand measure, then midspan hand assign)."
)
GAUGES = (
    PromptChoice("simulated", "", "the simulated one, to try everything"),
    PromptChoice("real", "g", "my gauge, on a port"),
    PromptChoice("by hand", "h", "no gauge: a weight and a dial indicator"),
)
ACROSS = (PromptChoice("thou", "", "thou"), PromptChoice("mm", "m", "mm"))
WEIGHTS = (PromptChoice("grains", "", "grains"), PromptChoice("grams", "g", "grams"))
WOOD = (
    PromptChoice("thou", "", "no"),
    PromptChoice("both", "b", "yes, beside the deflection"),
    PromptChoice("pounds", "p", "yes, instead of it"),
)
MATERIALS = (PromptChoice("steel", "", "steel"), PromptChoice("aluminium", "a", "aluminium"),
             PromptChoice("other", "o", "another"))  # fmt: skip


@dataclass(frozen=True, slots=True)
class BandsBegun:
    """Bands to begin with: one of equal width around each spine.

    Parameters
    ----------
    spines_thou : tuple of float
        Middles of the bands, thou, rising.
    width_thou : float
        Width of each, thou.
    """

    spines_thou: tuple[float, ...]
    width_thou: float


@dataclass(frozen=True, slots=True)
class MassesAtHand:
    """Masses to calibrate with.

    Parameters
    ----------
    masses_g : tuple of float
        Masses, g.
    u_pct : float
        Standard uncertainty of each, percent.
    """

    masses_g: tuple[float, ...]
    u_pct: float


@dataclass(frozen=True, slots=True)
class StandardKnown:
    """A bar of known spine.

    Parameters
    ----------
    name : str
        Its name.
    spine_thou, u_spine_thou : float
        Its spine for reactions normal to the bar, and the standard uncertainty of that, thou.
    material : str or None
        ``steel`` or ``aluminium``, None for another.
    temperature_c : float
        Temperature at which the spine was found, degrees Celsius.
    """

    name: str
    spine_thou: float
    u_spine_thou: float
    material: str | None
    temperature_c: float


@dataclass(frozen=True, slots=True)
class WorkspaceAnswers:
    """Answers that a workspace file is written from.

    Parameters
    ----------
    shop : str
        Name of the shop, empty for none.
    operator : str
        Who measures, empty for nobody in particular.
    port : str or None
        Port of the gauge; None for a hand bench.
    units : ShownUnits
        Units that are shown.
    """

    shop: str
    operator: str
    port: str | None
    units: ShownUnits


def workspace_asked(
    talk: Conversation, ports: Sequence[str], simulated: str, given: str | None = None
) -> WorkspaceAnswers:
    """Return what a workspace file is written from, asked of a person.

    Parameters
    ----------
    talk : Conversation
        Who asks.
    ports : sequence of str
        Ports found on this machine, the first of which is offered.
    simulated : str
        Port that stands for the simulated gauge.
    given : str or None
        Port of the gauge if it is known; None to ask.

    Returns
    -------
    WorkspaceAnswers
        The answers.

    Raises
    ------
    ConfigurationError
        Nobody is there to answer a question that has no default (code "nobody").
    """
    port = given or _gauge_asked(talk, ports, simulated)
    across = talk.ask(Prompt("across", "Spine and straightness in thou or in mm?", ACROSS)).choice
    weight = talk.ask(Prompt("weight", "Weight in grains or in grams?", WEIGHTS)).choice
    wood = talk.ask(Prompt("wood", "Also show the spine in pounds (26 in, 2 lb), as for wooden shafts?", WOOD)).choice
    shop = _name_asked(talk, "shop", "Name of your shop, club or school, for cards and labels", "a name")
    operator = _name_asked(talk, "operator", "Who measures", "a name")
    return WorkspaceAnswers(shop, operator, port, ShownUnits(AcrossUnit(across), WeightUnit(weight), WoodSpine(wood)))


def bands_asked(talk: Conversation) -> BandsBegun:
    """Return bands to begin with, asked of a person until they do not overlap.

    Parameters
    ----------
    talk : Conversation
        Who asks.

    Returns
    -------
    BandsBegun
        Bands of equal width.
    """
    words = "Spine numbers that you sort by, in thou, with spaces between"
    spines = _numbers_asked(talk, Prompt("spines", words, text="numbers", default="400 500 600"),
                            (STIFFEST_THOU + 1, SOFTEST_THOU - 1))  # fmt: skip
    apart = min((high - low for low, high in pairwise(sorted(spines))), default=2 * (spines[0] - STIFFEST_THOU))
    prompt = number_prompt("band width", "Width of a band, in thou", f"{min(10.0, apart):g}")
    return BandsBegun(tuple(sorted(spines)), number_asked(talk, prompt, (0.1, apart)))


def masses_asked(talk: Conversation) -> MassesAtHand | None:
    """Return the masses at hand, asked of a person; None for none.

    Parameters
    ----------
    talk : Conversation
        Who asks.

    Returns
    -------
    MassesAtHand or None
        Masses with an uncertainty that suits all of them.
    """
    words = "Masses at hand to calibrate the load cell, in grams, with spaces between (such as 200 400 600 800 1000)"
    masses = _numbers_asked(talk, Prompt("masses at hand", words, (NONE,), "numbers"), (1.0, 50_000.0))
    if not masses:
        return None
    known = number_prompt("mass uncertainty", "How well each is known: standard uncertainty in percent", "0.05")
    return MassesAtHand(tuple(masses), number_asked(talk, known, (0.0001, 0.9)))


def standard_asked(talk: Conversation) -> StandardKnown | None:
    """Return a check standard, asked of a person.

    Parameters
    ----------
    talk : Conversation
        Who asks.

    Returns
    -------
    StandardKnown or None
        A bar of known spine, None if there is none yet or its spine is not known well enough to say how well.
    """
    talk.say(NO_BAR_YET)
    name = talk.ask(Prompt("standard name", "Name of the bar", text="a name", default="bar-1")).text
    spine_prompt = Prompt("standard spine", "Its spine, in thou", (LEFT_OUT,), "a number")
    spine = number_or_none(talk, spine_prompt, (STIFFEST_THOU, SOFTEST_THOU))
    if spine is None:
        return None
    range_prompt = Prompt("standard uncertainty", "The ± of that, its 95 % range, in thou", (LEFT_OUT,), "a number")
    half_range = number_or_none(talk, range_prompt, (2e-4, 200))
    if half_range is None:
        return None
    material = talk.ask(Prompt("standard material", "Material of the bar?", MATERIALS)).choice
    warmth = number_prompt("standard temperature", "Temperature when its spine was found, in C", "20")
    celsius = number_asked(talk, warmth, (-40.0, 85.0))
    return StandardKnown(name, spine, half_range / K_95, None if material == "other" else material, celsius)


def _gauge_asked(talk: Conversation, ports: Sequence[str], simulated: str) -> str | None:
    """Return the port of the gauge that a person chooses, None for a hand bench."""
    gauge = talk.ask(Prompt("gauge", "Which gauge?", GAUGES)).choice
    if gauge == "real":
        return _port_asked(talk, ports)
    return simulated if gauge == "simulated" else None


def _port_asked(talk: Conversation, ports: Sequence[str]) -> str:
    """Return the port of a gauge; the first that was found is offered."""
    found = f" (found: {', '.join(ports)})" if ports else " (none found now: plug the gauge in, then midspan ports)"
    words = f"Port of the gauge, or usb: with its serial number{found}"
    while not (port := talk.ask(Prompt("port", words, text="a port", default=next(iter(ports), ""))).text):
        talk.say("  name a port")
    return port


def _name_asked(talk: Conversation, name: str, words: str, text: str) -> str:
    """Return a name that fits a line, empty for none."""
    while True:
        typed = talk.ask(Prompt(name, words, (NONE,), text)).text
        if typed.isprintable() and len(typed) <= LONGEST_NAME:
            return typed
        talk.say(f"  at most {LONGEST_NAME} printable characters")


def _numbers_asked(talk: Conversation, prompt: Prompt, limits: tuple[float, float]) -> list[float]:
    """Return different numbers within limits, typed on one line; empty if a choice was taken instead."""
    while True:
        typed = re.split(r"[\s;,]+", talk.ask(prompt).text.strip())
        if typed == [""]:
            return []
        try:
            numbers = [number_in(word, "the answer") for word in typed]
            _check_numbers(numbers, limits)
        except ReadingsError as error:
            talk.say(f"  {error}")
        else:
            return numbers


def _check_numbers(numbers: Sequence[float], limits: tuple[float, float]) -> None:
    """Raise ReadingsError for a number out of range, one that is there twice, or too many."""
    wrong = next((number for number in numbers if not limits[0] <= number <= limits[1]), None)
    if wrong is not None:
        raise ReadingsError(f"{wrong:g} is not between {limits[0]:g} and {limits[1]:g}", code="out_of_range")
    if len(set(numbers)) < len(numbers) or len(numbers) > MOST_MASSES:
        raise ReadingsError(f"at most {MOST_MASSES} different numbers", code="numbers")
