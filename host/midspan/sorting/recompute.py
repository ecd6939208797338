"""Readings of archives evaluated, judged and stored once more: the middle of the pipeline, from readings long kept.

A stored result is never overwritten. One that came out the same to the last bit, under the same calibration and the
same evaluation, is not stored twice; one that did not, under the same two, would be a fault of Midspan.

The bands may be others than before; what else made a verdict may not: a check standard stays one, a night's crack limit
holds, and what an earlier evaluation found stays. A database knows these of the runs that its nights sorted; for others
the plan of their night tells them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

import numpy as np

from midspan.archive.reader import Archive
from midspan.base.errors import ArchiveError
from midspan.decision.bands import Bands
from midspan.decision.basis import Basis, basis_of_bands, completed
from midspan.decision.decision import Decision
from midspan.measurement.calibration import Calibration
from midspan.measurement.calibration_validity import check_use, day_of
from midspan.measurement.result import BATCH
from midspan.pipeline.steps import DecidedT, Judging, Kept, Result
from midspan.sorting.plan import SortPlan
from midspan.sorting.verdict import basis_of_plan, verdict_by
from midspan.store.database import Store
from midspan.store.evaluation import Evaluation, RunReference
from midspan.store.kept_calibration import KeptCalibration


@dataclass(frozen=True, slots=True)
class Remade:
    """One run made again: where its readings are, what they gave, the verdict when there are bands, and its basis."""

    where: RunReference
    result: Result
    decision: Decision | None
    basis: Basis


@dataclass(frozen=True, slots=True)
class Rules:
    """What verdicts are made by where no store knows better: nothing is judged without bands.

    The plan gives its crack limit, and the role of runs that bear the name of one of its check standards.
    """

    bands: Bands | None = None
    plan: SortPlan | None = None

    def basis_of(self, kept: Kept) -> Basis:
        """Return the basis of the verdict on a run."""
        if self.plan is None or self.bands is None:
            return basis_of_bands(self.bands)
        label, names = kept.where.label, {bar.name for bar in self.plan.standard}
        return basis_of_plan(self.plan, self.bands, label if label in names else None)


def stored_nowhere(calibration: Calibration, rules: Rules) -> Judging[Basis, Remade]:
    """Return the steps of a run whose result is only looked at."""

    def remade(kept: Kept, result: Result, basis: Basis) -> Remade:
        decision = None if rules.bands is None else verdict_by(result, basis, rules.bands)
        return Remade(kept.where, result, decision, basis)

    return Judging(calibration, lambda kept, _: rules.basis_of(kept), remade)


@dataclass(frozen=True, slots=True)
class Ruling:
    """A verdict with its basis, and under which batch and name the store has the run."""

    decision: Decision
    basis: Basis
    batch: int
    where: RunReference


@dataclass
class BesideOld:
    """A store in which new results come to stand beside the old ones of the same readings; counts what it was given."""

    store: Store
    bands: Bands
    plan: SortPlan | None
    now_ms: Callable[[], int]
    stored: int = field(default=0, init=False)
    unchanged: int = field(default=0, init=False)
    _new_batch: int | None = field(default=None, init=False)

    def judging(self, calibration: Calibration) -> Judging[Ruling, Remade]:
        """Return the steps of a run whose result is kept, with the verdict that the store keeps. Raises StoreError."""
        self.store.keep_calibration(KeptCalibration.of(calibration))
        return Judging(calibration, self._decide, self._add)

    def _decide(self, kept: Kept, result: Result) -> Ruling:
        batch, where = self._known(kept.where)
        known, named = self.store.basis_of(where), Rules(self.bands, self.plan).basis_of(kept)
        basis = named if known is None else completed(known, named)
        return Ruling(verdict_by(result, basis, self.bands), basis, batch, where)

    def _add(self, kept: Kept, result: Result, ruling: Ruling) -> Remade:
        evaluation = Evaluation(result, ruling.decision, self.now_ms(), ruling.basis)
        decision, is_new = self.store.add_again(ruling.batch, ruling.where, evaluation)
        self.stored += is_new
        self.unchanged += not is_new
        return Remade(kept.where, result, decision, ruling.basis)

    def _known(self, where: RunReference) -> tuple[int, RunReference]:
        """Return a run's old batch and name, or a batch of their own for all that the store has never seen."""
        known = self.store.run_of(where)
        if known is not None:
            return known
        if self._new_batch is None:
            self._new_batch = self.store.begin_batch("made again from archives", self.now_ms())
        return self._new_batch, where


def entries(files: Iterable[Path], damage: list[str]) -> Iterator[Kept]:
    """Give all whole runs of all files; what is wrong with a file is added to `damage`, and the rest goes on."""
    for file in files:
        try:
            archive = Archive.open(file)
            for offset, run in archive.entries():
                yield Kept.at(run, file, offset)
            archive.check()
        except ArchiveError as error:
            damage.append(str(error))


def usable(runs: Iterable[Kept], calibration: Calibration) -> Iterator[Kept]:
    """Give the same runs; ConfigurationError at the first that the calibration is not for."""
    for kept in runs:
        check_use(calibration, kept.run.gauge, day_of(kept.run))
        yield kept


def recomputed(runs: Iterable[Kept], judging: Judging[DecidedT, Remade]) -> Iterator[Remade]:
    """Give what came of each run as soon as it is judged, a few batches at a time so that memory stays flat."""
    _keep_heap()
    waiting = iter(runs)
    while batch := list(islice(waiting, 4 * BATCH)):
        yield from judging.judge_each(batch)


def _keep_heap() -> None:
    """Keep the C library from giving memory back after every batch only to fetch and clear it again.

    glibc raises its limits for that to the size of a large block once one was freed; this one is never touched,
    so it costs no memory. A sixth of the time of a long recompute goes otherwise. Elsewhere it does nothing.
    """
    np.empty(31 << 20, np.uint8)
