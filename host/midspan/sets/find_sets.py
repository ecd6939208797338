"""Find kept sets by what people know of them: part of a name, customer, order, days of shipping, a shaft in it.

>>> SetQuery(shipped="2026").days.holds("2026-05-01")
True
"""

import re
from collections.abc import Collection, Iterable
from dataclasses import dataclass

from midspan.base.errors import ReadingsError
from midspan.sets.registry import KeptSet

_DAY = r"\d{4}-\d{2}-\d{2}"


@dataclass(frozen=True, slots=True)
class DayRange:
    """Days in the form 2026-05-01, which sorts as the days do.

    Parameters
    ----------
    first : str
        First day, empty for no limit.
    last : str
        Last day, or the begin of it as in "2026"; empty for no limit.
    """

    first: str
    last: str

    def holds(self, day: str) -> bool:
        """Return True if a day is among them.

        Parameters
        ----------
        day : str
            The day.

        Returns
        -------
        bool
            True from the first to the last day.

        Examples
        --------
        >>> DayRange("2026", "2026").holds("2026-12-31"), DayRange("", "2026-05-01").holds("2026-05-02")
        (True, False)
        """
        return day >= self.first and (not self.last or day[: len(self.last)] <= self.last)


@dataclass(frozen=True, slots=True)
class SetQuery:
    """What is asked of sets; None asks nothing. Upper and lower case are the same.

    Parameters
    ----------
    part : str | None
        Part of a name that it has or had, of the customer, the order or a note.
    customer : str | None
        The customer.
    order : str | None
        The order.
    shipped : str | None
        Days of shipping: a day, a month, a year, or two days with ".." between them.
    here : bool
        True for sets that are not shipped and not taken apart.
    shafts : Collection[int] | None
        Numbers of one shaft; only sets that have it now.
    """

    part: str | None = None
    customer: str | None = None
    order: str | None = None
    shipped: str | None = None
    here: bool = False
    shafts: Collection[int] | None = None

    @property
    def days(self) -> DayRange | None:
        """Days of shipping that are asked for, None for any.

        Raises
        ------
        ReadingsError
            They are not days (code "no_dates").
        """
        if self.shipped is None:
            return None
        if re.fullmatch(r"\d{4}(-\d{2}){0,2}", self.shipped):
            return DayRange(self.shipped, self.shipped)
        first, dots, last = self.shipped.partition("..")
        if not dots or not all(re.fullmatch(_DAY, day) or not day for day in (first, last)):
            raise ReadingsError(
                f"{self.shipped[:40]!r} are no days; write 2026, 2026-05, 2026-05-01 or 2026-01-01..2026-06-30",
                code="no_dates",
            )
        return DayRange(first, last)


def found_sets(sets: Iterable[KeptSet], query: SetQuery) -> list[KeptSet]:
    """Return the sets that a query asks for.

    Parameters
    ----------
    sets : Iterable[KeptSet]
        All sets.
    query : SetQuery
        What is asked.

    Returns
    -------
    list[KeptSet]
        Those that fit, in the same order.

    Raises
    ------
    ReadingsError
        The days are not days (code "no_dates").
    """
    days = query.days
    return [
        kept
        for kept in sets
        if (query.part is None or any(_has(text, query.part) for text in _texts(kept)))
        and (query.customer is None or _is(kept.details.customer, query.customer))
        and (query.order is None or _is(kept.details.order, query.order))
        and (days is None or (kept.details.shipped is not None and days.holds(kept.details.shipped)))
        and (not query.here or (kept.details.shipped is None and bool(kept.present)))
        and (query.shafts is None or not set(query.shafts).isdisjoint(kept.present))
    ]


def _texts(kept: KeptSet) -> list[str]:
    """Return everything in a set's records that a person may remember."""
    said = kept.details
    return [kept.name, *said.earlier_names, *said.notes, said.customer or "", said.order or ""]


def _has(text: str, part: str) -> bool:
    """Return True if a text has a part, whatever the case."""
    return part.casefold() in text.casefold()


def _is(text: str | None, wanted: str) -> bool:
    """Return True if a text is the wanted text, whatever the case."""
    return text is not None and text.casefold() == wanted.casefold()
