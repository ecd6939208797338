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
from typing import Annotated, Any

from pydantic import TypeAdapter, ValidationError
from sqlalchemy import Double, Integer, String
from sqlalchemy.orm import mapped_column
from sqlalchemy.types import TypeDecorator

from midspan.archive.raw_run import LATEST_MS
from midspan.decision.decision import ConcernKind, Outcome
from midspan.measurement.result_form import ResultKind
from midspan.store.evaluation import Origin
from midspan.store.transit import RunEventKind, TransitStage


class Damaged(ValueError):
    """Value in a database that this program cannot have written."""

    def __init__(self, value: object) -> None:
        super().__init__(f"unexpected value {value!r:.60}")


class Whole(TypeDecorator[int]):
    """Integer or a time in ms since 1970; not negative and not beyond the calendar."""

    impl, cache_ok = Integer, True

    def process_result_value(self, value: Any, _: Any) -> int | None:
        """Return the integer, None for null."""
        if value is None or (type(value) is int and 0 <= value <= LATEST_MS):
            return value
        raise Damaged(value)


class Number(TypeDecorator[float]):
    """Finite number."""

    impl, cache_ok = Double, True

    def process_result_value(self, value: Any, _: Any) -> float | None:
        """Return the number, None for null."""
        if value is None or (type(value) is float and math.isfinite(value)):
            return value
        raise Damaged(value)


class Text(TypeDecorator[str]):
    """Text of any content."""

    impl, cache_ok = String, True

    def process_result_value(self, value: Any, _: Any) -> str | None:
        """Return the text, None for null."""
        if value is None or type(value) is str:
            return value
        raise Damaged(value)


class Word(TypeDecorator[str]):
    """Word of an enumeration."""

    impl, cache_ok = String, True

    def __init__(self, kind: type[StrEnum]) -> None:
        super().__init__()
        self.kind = kind

    def process_result_value(self, value: Any, _: Any) -> str | None:
        """Return the word as text, None for null."""
        if value is None or value in set(self.kind):
            return None if value is None else str(value)
        raise Damaged(value)


class Json(TypeDecorator[str]):
    """JSON text of a known shape; callers need not handle any other."""

    impl, cache_ok = String, True

    def __init__(self, shape: Any) -> None:
        super().__init__()
        self.shape = shape
        self._adapter = TypeAdapter(shape)

    def process_result_value(self, value: Any, _: Any) -> str | None:
        """Return the JSON text, None for null."""
        if value is None:
            return None
        try:
            self._adapter.validate_json(value, strict=True)
        except ValidationError as error:
            raise Damaged(value) from error
        return str(value)


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
