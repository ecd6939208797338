"""Which shafts a person means: words such as batch:3, 1-14, set:'spring 1', year:2026 or 2025-01-01..2025-06-30.

Several conditions are joined by "and", as in "set:spring 1 and year:2025": the shafts of that dozen as they were then.

>>> [condition.words for condition in read_selection("set:spring 1 and 2025-01-01..2025-06-30").conditions]
['set:spring 1', '2025-01-01..2025-06-30']
"""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum

from midspan.base.errors import ReadingsError
from midspan.base.plain_text import short


class ConditionKind(StrEnum):
    """What shafts are chosen by."""

    BATCH = "batch"
    SET = "set"
    GAUGE = "gauge"
    YEAR = "year"
    ORDER = "order"
    CUSTOMER = "customer"
    LABEL = "label"
    NUMBERS = "numbers"


KNOWN = (
    "batch:3, 1-14, set:NAME, gauge:NAME, year:2026, order:NAME, customer:NAME, label:PART or 2025-01-01..2025-06-30"
)
_KINDS = "|".join(kind.value for kind in ConditionKind)
_DATES = re.compile(r"(\d{4}-\d{2}-\d{2})?\.\.(\d{4}-\d{2}-\d{2})?")
_NUMBERS = re.compile(r"\d{1,9}(?:-\d{1,9})?(?:\s*,\s*\d{1,9}(?:-\d{1,9})?)*")  # one number alone is no group
_AND = re.compile(rf"\s+and\s+(?=(?:{_KINDS}):|\d{{4}}-\d{{2}}-\d{{2}}\.\.|\.\.\d{{4}}|\d+[-,]\d+)")


@dataclass(frozen=True, slots=True)
class Period:
    """Time between two moments.

    Parameters
    ----------
    begin_ms : int or None
        First moment, UTC in ms since 1970; None for no limit.
    end_ms : int or None
        First moment after it, UTC in ms since 1970; None for no limit.
    """

    begin_ms: int | None
    end_ms: int | None

    def holds(self, at_ms: int) -> bool:
        """Return True if a moment lies within.

        Parameters
        ----------
        at_ms : int
            The moment, UTC in ms since 1970.

        Returns
        -------
        bool
            True from the begin on, before the end.

        Examples
        --------
        >>> Period(None, 10).holds(9), Period(None, 10).holds(10)
        (True, False)
        """
        return (self.begin_ms is None or at_ms >= self.begin_ms) and (self.end_ms is None or at_ms < self.end_ms)


@dataclass(frozen=True, slots=True)
class ShaftCondition:
    """One condition of a selection.

    Parameters
    ----------
    words : str
        As the person wrote it.
    kind : ConditionKind or None
        What shafts are chosen by, None for dates alone.
    value : str
        What follows the colon.
    period : Period or None
        Days of measuring, of a year or dates; else None.
    ranges : tuple[range, ...]
        Numbers of shafts that are asked for; empty if other things are.
    """

    words: str
    kind: ConditionKind | None
    value: str
    period: Period | None = None
    ranges: tuple[range, ...] = ()


@dataclass(frozen=True, slots=True)
class Selection:
    """Conditions that shafts of a group all meet.

    Parameters
    ----------
    words : str
        As the person wrote them.
    conditions : tuple[ShaftCondition, ...]
        At least one.
    """

    words: str
    conditions: tuple[ShaftCondition, ...]

    def holds(self, at_ms: int) -> bool:
        """Return True if a moment lies within the days asked for.

        Parameters
        ----------
        at_ms : int
            The moment, UTC in ms since 1970.

        Returns
        -------
        bool
            True too if no days were asked for.
        """
        return all(condition.period is None or condition.period.holds(at_ms) for condition in self.conditions)


def read_selection(text: str) -> Selection:
    """Read which shafts a person means.

    Parameters
    ----------
    text : str
        As in "batch:3".

    Returns
    -------
    Selection
        The conditions.

    Raises
    ------
    ReadingsError
        It names no kind that is known (code "no_selection"), a year, a day or their order is wrong (code "no_dates"),
        or the numbers of shafts are (code "no_numbers").

    Examples
    --------
    >>> read_selection("batch 3")
    Traceback (most recent call last):
    midspan.base.errors.ReadingsError: 'batch 3' names no group; write batch:3, 1-14, set:NAME, gauge:NAME, \
year:2026, order:NAME, customer:NAME, label:PART or 2025-01-01..2025-06-30
    """
    return Selection(text.strip(), tuple(_condition(words.strip()) for words in _AND.split(text)))


def _condition(words: str) -> ShaftCondition:
    """Return the condition in some words."""
    dates = _DATES.fullmatch(words)
    if dates and any(dates.groups()):
        return ShaftCondition(words, None, words, _between(*dates.groups()))
    if _NUMBERS.fullmatch(words) and not words.isdecimal():
        return ShaftCondition(words, ConditionKind.NUMBERS, words, ranges=_ranges(words))
    kind, colon, value = words.partition(":")
    value = value.strip()
    if not colon or not value or kind.strip().lower() not in {known.value for known in ConditionKind}:
        raise ReadingsError(f"{short(words)!r} names no group; write {KNOWN}", code="no_selection")
    known = ConditionKind(kind.strip().lower())
    if known is ConditionKind.NUMBERS:
        return ShaftCondition(words, known, value, ranges=_ranges(value))
    return ShaftCondition(words, known, value, _year(value) if known is ConditionKind.YEAR else None)


def _ranges(text: str) -> tuple[range, ...]:
    """Return the numbers of shafts in a text such as "1-14, 20"."""
    if not _NUMBERS.fullmatch(text):
        raise ReadingsError(f"{short(text)!r} are no numbers of shafts; write as in 1-14,20", code="no_numbers")
    found = []
    for part in text.split(","):
        first, _, last = part.strip().partition("-")
        if int(last or first) < int(first):
            raise ReadingsError(f"{short(part)} counts down; give the lower number first", code="no_numbers")
        found.append(range(int(first), int(last or first) + 1))
    return tuple(found)


def _between(first: str | None, last: str | None) -> Period:
    """Return the time from a first day to the end of a last one."""
    begin = None if first is None else _day(first)
    end = None if last is None else _day(last, further=1)
    if begin is not None and end is not None and begin >= end:
        raise ReadingsError(f"{first}..{last} ends before it begins; give the earlier day first", code="no_dates")
    return Period(_ms(begin), _ms(end))


def _year(text: str) -> Period:
    """Return the time of a calendar year."""
    if not re.fullmatch(r"\d{4}", text):
        raise ReadingsError(f"{short(text)!r} is no year; write as in year:2026", code="no_dates")
    return Period(_ms(_day(f"{text}-01-01")), _ms(_day(f"{text}-12-31", further=1)))


def _day(text: str, further: int = 0) -> date:
    """Return a day, or one so many days further; raise ReadingsError if the calendar does not have it."""
    try:
        return date.fromisoformat(text) + timedelta(days=further)
    except (ValueError, OverflowError):
        raise ReadingsError(f"{text} is not in the calendar; write as in 2026-03-31", code="no_dates") from None


def _ms(day: date | None) -> int | None:
    """Return the begin of a day, UTC in ms since 1970."""
    if day is None:
        return None
    return round(datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp() * 1000)
