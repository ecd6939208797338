"""What a night's next move depends on, and what a move is: values only, for moves.next_move."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto

from midspan.passage import Passage
from midspan.records import Identify, Source


class Do(Enum):
    """One thing to do."""

    ORDER = auto()  # a new shaft: give it a number and feed it
    FEED = auto()  # a shaft that has its number already
    ADOPT = auto()  # take what lies on the rollers as this shaft
    NOTE_IN_GAUGE = auto()
    MEASURE = auto()
    FETCH = auto()  # readings that the gauge holds
    RESCUE = auto()  # readings that it holds of a shaft unknown here: keep them
    JUDGE = auto()  # readings that are on the disk
    ACKNOWLEDGE = auto()
    RELEASE = auto()
    NOTE_IN_BIN = auto()
    NOTE_UNCERTAIN = auto()
    NOTE_NO_SHAFT = auto()
    NOTE_TAKEN_OUT = auto()
    CLEAR_FAULT = auto()
    CALL_PERSON = auto()
    FINISH = auto()


@dataclass(frozen=True, slots=True)
class Move:
    """What to do, with which shaft; `words` for people and `code` of a fault, if there is one."""

    do: Do
    shaft: int | None = None
    place: int | None = None
    passed: int | None = None
    source: Source | None = None
    standard: str | None = None
    words: str = ""
    code: str | None = None
    full: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Course:
    """Where a judged shaft goes: to be measured `again`, to a `place`, or nowhere until those `full` are emptied."""

    again: bool = False
    place: int | None = None
    words: str = ""
    full: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is wanted besides: an end and why, a check standard and where it comes from, a person's leave.

    `person` says that someone looked after the last call; `attended` that someone can be asked.
    """

    finish: str = ""
    standard: str | None = None
    standard_source: Source = Source.SLOT
    person: bool = False
    attended: bool = False


@dataclass(frozen=True, slots=True)
class Situation:
    """All that the next move depends on.

    `archived`: the readings of the open shaft's newest measurement are whole on the disk. `course` is that of its
    verdict; None without a stored verdict whose readings are there. `recheck` is the course of what cannot be measured.
    """

    gauge: Identify
    passage: Passage | None
    archived: bool
    course: Course | None
    recheck: Course
    wanted: Wanted = Wanted()
