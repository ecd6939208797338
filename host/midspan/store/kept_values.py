"""Column types of the store that check values as they are read, because SQLite keeps whatever any program writes.

A value of another type, JSON of another shape or a time outside the calendar raises `Damaged` at its row, before
anything is computed from it. Values are not checked on the way in: they come from this program.

>>> Json(list[str]).process_result_value('["cracked"]', None)
'["cracked"]'
>>> Json(list[str]).process_result_value("[7]", None)
Traceback (most recent call last):
midspan.store.kept_values.Damaged: unexpected value '[7]'
"""

from __future__ import annotations

import math
from enum import StrEnum
from typing import Annotated, Any, TypeVar

from pydantic import TypeAdapter, ValidationError
from sqlalchemy import Double, Integer, String
from sqlalchemy.orm import mapped_column
from sqlalchemy.types import TypeDecorator

from midspan.archive.raw_run import LATEST_MS
from midspan.decision.decision import ConcernKind, Outcome
from midspan.measurement.result_form import ResultKind
from midspan.store.detail_kinds import DetailKind, SetDetailKind
from midspan.store.evaluation import Origin
from midspan.store.transit import RunEventKind, TransitStage

Value = TypeVar("Value")


class Damaged(ValueError):
    """Value in a database that this program cannot have written.

    Parameters
    ----------
    value : object
        The value; the message quotes its first 60 characters.
    """

    def __init__(self, value: object) -> None:
        super().__init__(f"unexpected value {value!r:.60}")


class _Checked(TypeDecorator[Value]):
    """Column type that checks each value read from the database."""

    def process_result_value(self, value: Any, _: Any) -> Value | None:
        """Return a value read from the database, None for null; raises Damaged if it is not allowed."""
        if value is None or self._allows(value):
            return value  # type: ignore[no-any-return]
        raise Damaged(value)

    def _allows(self, value: Any) -> bool:
        """Return True if a value other than null may be in the column."""
        raise NotImplementedError


class Whole(_Checked[int]):
    """Integer or a time in ms since 1970; not negative and not beyond the calendar."""

    impl, cache_ok = Integer, True

    def _allows(self, value: Any) -> bool:
        return type(value) is int and 0 <= value <= LATEST_MS


class Number(_Checked[float]):
    """Finite number."""

    impl, cache_ok = Double, True

    def _allows(self, value: Any) -> bool:
        return type(value) is float and math.isfinite(value)


class Text(_Checked[str]):
    """Text of any content."""

    impl, cache_ok = String, True

    def _allows(self, value: Any) -> bool:
        return type(value) is str


class Word(_Checked[str]):
    """Word of an enumeration.

    Parameters
    ----------
    kind : type[StrEnum]
        The enumeration.
    """

    impl, cache_ok = String, True

    def __init__(self, kind: type[StrEnum]) -> None:
        super().__init__()
        self.kind = kind

    def _allows(self, value: Any) -> bool:
        return type(value) is str and value in set(self.kind)


class Json(_Checked[str]):
    """JSON text of a known shape; callers need not handle any other.

    Parameters
    ----------
    shape : Any
        Type of the decoded value, as pydantic takes it.
    """

    impl, cache_ok = String, True

    def __init__(self, shape: Any) -> None:
        super().__init__()
        self.shape = shape
        self._adapter = TypeAdapter(shape)

    def _allows(self, value: Any) -> bool:
        try:
            self._adapter.validate_json(value, strict=True)
        except ValidationError:
            return False
        return True


Sentences = Annotated[str, mapped_column(Json(list[str]))]
Concerns = Annotated[str, mapped_column(Json(list[tuple[ConcernKind, str]]))]
Content = Annotated[str, mapped_column(Json(dict[str, Any]))]
Sections = Annotated[str, mapped_column(Json(dict[str, dict[str, Any]]))]
Watched = Annotated[str, mapped_column(Json(dict[str, float | None]))]
OriginWord = Annotated[str, mapped_column(Word(Origin))]
OutcomeWord = Annotated[str, mapped_column(Word(Outcome))]
StageWord = Annotated[str, mapped_column(Word(TransitStage))]
KindWord = Annotated[str, mapped_column(Word(RunEventKind))]
ResultKindWord = Annotated[str, mapped_column(Word(ResultKind))]
DetailWord = Annotated[str, mapped_column(Word(DetailKind))]
SetDetailWord = Annotated[str, mapped_column(Word(SetDetailKind))]
