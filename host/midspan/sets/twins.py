"""Shafts that are in the store under two numbers: what labels and people say of that, and what their results say.

Results are compared where one gauge made them under one calibration, within what it repeats there: of check standards,
and of shafts that were measured in several batches by one number. Within one batch a shaft may have been measured again
where it lay, which says nothing of putting it in.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import Any

import numpy as np
from sqlalchemy import Select, String, case, cast, exists, func, or_, select
from sqlalchemy.orm import Session, aliased

from midspan.base.errors import MatchingError
from midspan.base.formatting import read_code
from midspan.decision.decision import Outcome
from midspan.decision.origin import Origin
from midspan.sets.identity import Identities, Pair, Statement, identities, pair_of
from midspan.sets.likeness import ENOUGH, likely_same, repeats_of, traits
from midspan.sets.limits import Array
from midspan.store.database import Store
from midspan.store.tables import BasisRow, DecisionRow, IdentityRow, ResultRow, RunRow, TransitRow

# Of the curve the mean and twice a turn, of the surface once a turn: all that `traits` needs.
PARTS = ("gauge", "curve_thou[0]", "curve_thou[3]", "curve_thou[4]", "surface_mm[1]", "surface_mm[2]")
TOO_ALIKE = "as near to another shaft as different ones of this stock are to each other"


@dataclass(frozen=True)
class Twins:
    """Pairs of shafts that are likely one, and by reason those of which nobody can tell.

    A shaft that is known to have several numbers stands here by the lowest of them.
    """

    likely: tuple[Pair, ...]
    unsure: Mapping[str, tuple[int, ...]]


@dataclass(frozen=True)
class _Condition:
    """Under what results were made: only those of one condition are compared."""

    gauge: str
    calibration: str | None
    evaluation: str | None

    @property
    def words(self) -> str:
        return f"gauge {self.gauge} under calibration {self.calibration}"


def known_identities(session: Session) -> Identities:
    """Which numbers are of one shaft, by labels and by what people say.

    A label that is the code of a number, read off the shaft, is of that number's shaft. The label of an imported run
    says nothing of a number under which something was measured here: another shop's number 7 is another shaft.
    """
    bearers: dict[str, set[int]] = {}
    here = aliased(RunRow)
    measured_here = exists().where(here.shaft == RunRow.shaft, here.origin == Origin.MEASURED.value)
    query = select(RunRow.shaft, RunRow.label).where(RunRow.label != "")
    query = query.where(or_(RunRow.origin == Origin.MEASURED.value, ~measured_here))
    for shaft, label in session.execute(query.distinct()):
        bearers.setdefault(label, set()).add(shaft)
        named = read_code(label)
        if named != label and named.isdecimal():
            bearers[label].add(int(named))
    return identities(_said(session), {label: those for label, those in bearers.items() if len(those) > 1})


def numbers_of_label(store: Store, label: str) -> set[int]:
    """Numbers of the shafts that bear a label, none of an empty one."""
    with store.transaction() as session:
        return set(session.scalars(select(RunRow.shaft).where(RunRow.label == label, RunRow.label != "")))


def find_twins(session: Session, same: Identities) -> Twins:
    """Look for shafts that are in the store under two numbers and not known to be the same."""
    measured = _Measured(session, same)
    likely: set[Pair] = set()
    unsure: dict[str, list[int]] = {}
    for condition in measured.conditions:
        shafts, found = measured.stock(condition)
        if len(shafts) < 2:
            continue
        repeats = repeats_of(measured.repeated(condition))
        if repeats is None:
            why = f"{condition.words} has measured no check standard and no shaft twice: what it repeats is not known"
            unsure.setdefault(why, []).extend(shafts)
        elif len(shafts) <= ENOUGH:
            unsure.setdefault(f"{condition.words} has measured too few shafts", []).extend(shafts)
        else:
            alike = likely_same(found, repeats)
            likely |= {pair_of(shafts[a], shafts[b]) for a, b in alike.pairs}
            unsure.setdefault(TOO_ALIKE, []).extend(shafts[i] for i in alike.unsure)
    told = {shaft for those in unsure.values() for shaft in those}
    for why, apart in measured.apart():
        unsure.setdefault(why, []).extend(set(apart) - told)
    pairs = tuple(sorted(pair for pair in likely if not same.are_two(*pair)))
    return Twins(pairs, {why: tuple(sorted(set(those))) for why, those in unsure.items() if those})


class _Measured:
    """Traits of all measured shafts by condition."""

    def __init__(self, session: Session, same: Identities) -> None:
        self._stock: dict[_Condition, dict[int, list[float]]] = {}
        self._again: dict[_Condition, dict[tuple[object, int], list[float]]] = {}
        self._others: set[int] = set()
        for row in session.execute(_results()):
            gauge, *parts = json.loads(row.parts)
            if (
                not isinstance(gauge, str)
                or not all(isinstance(part, int | float) for part in parts)
                or not parts[0] > 0
            ):
                self._others.add(row.shaft)
                continue
            condition = _Condition(gauge, row.calibration, row.evaluation)
            # The newest of each batch; a check standard has a number of its own each time. What came from an archive
            # may be the same readings once more.
            if row.origin == Origin.MEASURED:
                once = (row.standard, row.shaft) if row.standard else (row.shaft, row.batch_id)
                self._again.setdefault(condition, {})[once] = parts
            if row.standard is None:
                shafts = self._stock.setdefault(condition, {})
                shafts[same.key(row.shaft)] = parts
        # Where most are first: the others are not comparable with those.
        self.conditions = sorted(self._stock, key=lambda one: -len(self._stock[one]))

    def stock(self, condition: _Condition) -> tuple[list[int], Array]:
        """Numbers of shafts, each once, and their traits."""
        shafts = self._stock[condition]
        return list(shafts), _traits(list(shafts.values()))

    def repeated(self, condition: _Condition) -> list[Array]:
        """Traits of what was measured more than once, [times, 4] each."""
        groups: dict[object, list[list[float]]] = {}
        for (whose, _), parts in self._again.get(condition, {}).items():
            groups.setdefault(whose, []).append(parts)
        return [_traits(parts) for parts in groups.values() if len(parts) > 1]

    def apart(self) -> list[tuple[str, list[int]]]:
        """Shafts that cannot be compared with most of the others, with the reason."""
        if not self.conditions:
            return []
        first, *rest = self.conditions
        done = set(self._stock[first])
        found = []
        for condition in rest:
            others = [shaft for shaft in self._stock[condition] if shaft not in done]
            found.append((f"measured by {condition.words}, most others by {first.words}", others))
            done |= set(others)
        return [*found, ("the result says too little of it", sorted(self._others - done))]


def _results() -> Select[Any, Any, Any, Any, Any, Any, Any]:
    paths = [f"$.{part}" for part in PARTS]
    # A list of them as JSON; what is damaged tells nothing of its shaft, and must not keep the others from being read.
    whole = case((func.json_valid(ResultRow.full), ResultRow.full), else_="{}")
    parts = cast(func.json_extract(whole, *paths), String).label("parts")
    # A check standard was fed as such by a night, or judged as such elsewhere.
    standard = func.coalesce(TransitRow.standard, func.json_extract(BasisRow.content, "$.standard")).label("standard")
    query = select(
        RunRow.shaft, RunRow.batch_id, RunRow.origin, standard, ResultRow.calibration, ResultRow.evaluation, parts
    ).join(RunRow, ResultRow.run_id == RunRow.id)
    query = query.join(DecisionRow, DecisionRow.result_id == ResultRow.id)
    query = query.outerjoin(BasisRow, BasisRow.id == DecisionRow.basis_id)
    query = query.outerjoin(TransitRow, TransitRow.id == RunRow.shaft)
    sick = DecisionRow.outcome == Outcome.INSTRUMENT_FAULT.value
    return query.where(ResultRow.full.is_not(None), ResultRow.spine_thou > 0, ~sick).order_by(ResultRow.id)


def _traits(parts: Sequence[Sequence[float]]) -> Array:
    rows = np.array(parts)
    curve, surface = np.zeros((len(rows), 7)), np.zeros((len(rows), 7))
    curve[:, [0, 3, 4]], surface[:, [1, 2]] = rows[:, :3], rows[:, 3:]
    return traits(curve, surface)


# What people say


def say(
    store: Store, shafts: Sequence[int], same: bool | None, at_ms: int, *, person: str = "", words: str = ""
) -> None:
    """Note that shafts are one, that each is a shaft of its own, or with None that what was said is taken back.

    Raises MatchingError when that contradicts what was said before, or nothing was said; then nothing is noted.
    """
    if len(set(shafts)) < 2:
        raise MatchingError("name two or more shafts that differ by their numbers")
    with store.transaction() as session:
        said = _said(session)
        pairs = list(pairwise(shafts)) if same else list(combinations(shafts, 2))
        if same is None:
            known = {one.pair for one in said if one.same is not None}
            pairs = [pair for pair in pairs if pair_of(*pair) in known]
            if not pairs:
                raise MatchingError(f"nobody said whether shafts {', '.join(map(str, shafts))} are one or several")
        identities([*said, *(Statement(a, b, same) for a, b in pairs)])
        session.add_all(
            IdentityRow(shaft=a, other=b, at_ms=at_ms, same=same, person=person, words=words) for a, b in pairs
        )


def said_in(session: Session) -> list[dict[str, Any]]:
    """Everything people said, oldest first; `same` is None where they took it back."""
    columns = ("shaft", "other", "same", "at_ms", "person", "words")
    rows = session.execute(select(*(getattr(IdentityRow, name) for name in columns)).order_by(IdentityRow.id))
    return [dict(zip(columns, row, strict=True)) for row in rows]


def _said(session: Session) -> list[Statement]:
    rows = session.execute(select(IdentityRow.shaft, IdentityRow.other, IdentityRow.same).order_by(IdentityRow.id))
    return [Statement(*row) for row in rows]
