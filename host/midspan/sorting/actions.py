"""Actions of a night: each a value with just the fields it needs, decided by the planner, carried out by the executor.

>>> action_words(FeedShaft(3, Source.HOPPER))
'feed shaft'
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from midspan.wire.records import Source


@dataclass(frozen=True, slots=True)
class OrderShaft:
    """Give a new shaft its number and feed it.

    Parameters
    ----------
    source : Source
        Hopper, slot or rollers, where the shaft comes from.
    standard : str | None
        Name of the check standard that it is, None for a shaft of the stock.
    """

    source: Source
    standard: str | None = None


@dataclass(frozen=True, slots=True)
class FeedShaft:
    """Feed a shaft that has its number already.

    Parameters
    ----------
    shaft : int
        Its number.
    source : Source
        Hopper, slot or rollers, where the shaft comes from.
    """

    shaft: int
    source: Source


@dataclass(frozen=True, slots=True)
class AdoptShaft:
    """Take the shaft on the rollers as this number.

    Parameters
    ----------
    shaft : int
        Its number.
    """

    shaft: int


@dataclass(frozen=True, slots=True)
class NoteInGauge:
    """Note that a shaft lies in the gauge.

    Parameters
    ----------
    shaft : int
        Its number.
    unfit : str | None
        Code of the fault that keeps it from being measured, None if it can be measured.
    """

    shaft: int
    unfit: str | None = None


@dataclass(frozen=True, slots=True)
class MeasureShaft:
    """Measure the shaft on the rollers.

    Parameters
    ----------
    shaft : int
        Its number.
    """

    shaft: int


@dataclass(frozen=True, slots=True)
class FetchReadings:
    """Fetch the readings of the open shaft that the gauge holds.

    Parameters
    ----------
    shaft : int
        Its number.
    """

    shaft: int


@dataclass(frozen=True, slots=True)
class RescueReadings:
    """Keep readings that the gauge holds of a shaft unknown to the journal.

    Parameters
    ----------
    shaft : int
        Its number.
    """

    shaft: int


@dataclass(frozen=True, slots=True)
class JudgeReadings:
    """Evaluate and judge readings that are on the disk.

    Parameters
    ----------
    shaft : int
        Its number.
    """

    shaft: int


@dataclass(frozen=True, slots=True)
class ForgetReadings:
    """Let the gauge forget readings that are kept and judged.

    Parameters
    ----------
    shaft : int
        Its number.
    """

    shaft: int


@dataclass(frozen=True, slots=True)
class ReleaseShaft:
    """Release the shaft on the rollers into a place.

    Parameters
    ----------
    shaft : int
        Its number.
    place : int
        Number of the place.
    """

    shaft: int
    place: int


@dataclass(frozen=True, slots=True)
class NoteInBin:
    """Note that a shaft lies in its place.

    Parameters
    ----------
    shaft : int
        Its number.
    place : int
        Number of the place.
    passed : int
        Shafts that the chute saw pass, this shaft and any that came with it.
    """

    shaft: int
    place: int
    passed: int


@dataclass(frozen=True, slots=True)
class NoteUncertain:
    """Note that a shaft may have fallen into a place unseen.

    Parameters
    ----------
    shaft : int
        Its number.
    place : int | None
        Number of the place, None if none is known.
    words : str
        Reason, for people.
    """

    shaft: int
    place: int | None
    words: str


@dataclass(frozen=True, slots=True)
class NoteNoShaft:
    """Note that no shaft came for this number.

    Parameters
    ----------
    shaft : int
        The number.
    words : str
        Reason, for people.
    """

    shaft: int
    words: str


@dataclass(frozen=True, slots=True)
class NoteTakenOut:
    """Note that a shaft was taken out by hand, or is to be.

    Parameters
    ----------
    shaft : int
        Its number.
    words : str
        Reason, for people.
    """

    shaft: int
    words: str


@dataclass(frozen=True, slots=True)
class ClearFault:
    """Let the gauge clear its fault and home its press."""


@dataclass(frozen=True, slots=True)
class CallPerson:
    """Call a person.

    Parameters
    ----------
    words : str
        What is needed, for people.
    code : str | None
        Code of the fault to be cleared afterwards, None for no fault.
    shaft : int | None
        Number of the shaft it is about, None for no shaft.
    full : tuple[int, ...]
        Numbers of the places to be emptied.
    """

    words: str
    code: str | None = None
    shaft: int | None = None
    full: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class FinishRun:
    """End the run: nothing is left to do, or it was asked to end.

    Parameters
    ----------
    words : str
        Reason, for people.
    """

    words: str


EndTransit = NoteInBin | NoteUncertain | NoteNoShaft | NoteTakenOut  # each ends the way of the open shaft
# What the gauge or the recorder does; the rest is for the loop.
Executable = (
    OrderShaft | FeedShaft | AdoptShaft | NoteInGauge | MeasureShaft | FetchReadings | RescueReadings | JudgeReadings
    | ForgetReadings | ReleaseShaft | ClearFault | EndTransit
)  # fmt: skip
Action = Executable | CallPerson | FinishRun


def action_words(action: Action) -> str:
    """Return the name of an action in plain words, for a message.

    Parameters
    ----------
    action : Action
        The action.

    Returns
    -------
    str
        Its name in lower case.

    Examples
    --------
    >>> action_words(ClearFault())
    'clear fault'
    """
    return re.sub("(?<!^)([A-Z])", r" \1", type(action).__name__).lower()
