"""What a night can do next: each action a value with just the fields it needs, made by the planner, done by execute.

>>> action_words(FeedShaft(3, Source.HOPPER))
'feed shaft'
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from midspan.wire.records import Source


@dataclass(frozen=True, slots=True)
class OrderShaft:
    """Give a new shaft its number and feed it; `standard` is the check standard that it is, None for the stock."""

    source: Source
    standard: str | None = None


@dataclass(frozen=True, slots=True)
class FeedShaft:
    """Feed a shaft that has its number already."""

    shaft: int
    source: Source


@dataclass(frozen=True, slots=True)
class AdoptShaft:
    """Take what lies on the rollers as this shaft."""

    shaft: int


@dataclass(frozen=True, slots=True)
class NoteInGauge:
    """Note that a shaft lies in the gauge; `unfit` is the fault for which it cannot be measured, None if it can."""

    shaft: int
    unfit: str | None = None


@dataclass(frozen=True, slots=True)
class MeasureShaft:
    """Measure the shaft on the rollers."""

    shaft: int


@dataclass(frozen=True, slots=True)
class FetchReadings:
    """Fetch the readings that the gauge holds of the open shaft."""

    shaft: int


@dataclass(frozen=True, slots=True)
class RescueReadings:
    """Keep the readings that the gauge holds of a shaft which the journal does not know."""

    shaft: int


@dataclass(frozen=True, slots=True)
class JudgeReadings:
    """Evaluate and judge readings that are on the disk."""

    shaft: int


@dataclass(frozen=True, slots=True)
class ForgetReadings:
    """Let the gauge forget readings that are kept and judged."""

    shaft: int


@dataclass(frozen=True, slots=True)
class ReleaseShaft:
    """Let the shaft on the rollers go to a place."""

    shaft: int
    place: int


@dataclass(frozen=True, slots=True)
class NoteInBin:
    """Note that a shaft lies in its place; `passed` counts those that the chute saw, itself and what came along."""

    shaft: int
    place: int
    passed: int


@dataclass(frozen=True, slots=True)
class NoteUncertain:
    """Note that a shaft may have fallen unseen into a place, None if none is known; `words` say why."""

    shaft: int
    place: int | None
    words: str


@dataclass(frozen=True, slots=True)
class NoteNoShaft:
    """Note that none came for this number."""

    shaft: int
    words: str


@dataclass(frozen=True, slots=True)
class NoteTakenOut:
    """Note that a shaft was taken out by hand, or is to be."""

    shaft: int
    words: str


@dataclass(frozen=True, slots=True)
class ClearFault:
    """Let the gauge clear its fault and home its press."""


@dataclass(frozen=True, slots=True)
class CallPerson:
    """Call a person; `code` is that of a fault to be cleared then, `full` are the places to be emptied."""

    words: str
    code: str | None = None
    shaft: int | None = None
    full: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class FinishRun:
    """Nothing is left to do, or the run is to end."""

    words: str


EndTransit = NoteInBin | NoteUncertain | NoteNoShaft | NoteTakenOut  # each ends the way of the open shaft
# What the gauge or the recorder does; the rest is for the loop.
Executable = (
    OrderShaft | FeedShaft | AdoptShaft | NoteInGauge | MeasureShaft | FetchReadings | RescueReadings | JudgeReadings
    | ForgetReadings | ReleaseShaft | ClearFault | EndTransit
)  # fmt: skip
Action = Executable | CallPerson | FinishRun


def action_words(action: Action) -> str:
    """Name an action in plain words, for a message to people."""
    return re.sub("(?<!^)([A-Z])", r" \1", type(action).__name__).lower()
