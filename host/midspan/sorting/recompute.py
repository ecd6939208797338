"""Recompute: evaluate, judge and store readings of archives again.

A stored result is never overwritten. A result that is the same to the last bit, under the same calibration and the same
evaluation, is not stored twice; one that differs under the same two would be a fault of Midspan.

The bands may be others than before; the rest of a verdict's basis may not: a check standard stays one, a night's crack
limit holds, and what an earlier evaluation found stays. The database knows these of the runs that its nights sorted;
for other runs the plan of their night gives them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import nullcontext
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
    """A run that was evaluated again.

    Parameters
    ----------
    where : RunReference
        Place of its readings.
    result : Result
        The new result.
    decision : Decision | None
        The new verdict, None without bands.
    basis : Basis
        What the verdict rests on.
    """

    where: RunReference
    result: Result
    decision: Decision | None
    basis: Basis


@dataclass(frozen=True, slots=True)
class Rules:
    """Rules for verdicts on runs that no database knows; without bands nothing is judged.

    Parameters
    ----------
    bands : Bands | None
        The bands, None to judge nothing.
    plan : SortPlan | None
        Plan that gives the crack limit and the names of check standards, None for no plan.
    """

    bands: Bands | None = None
    plan: SortPlan | None = None

    def basis_of(self, kept: Kept) -> Basis:
        """Return the basis of the verdict on a run.

        Parameters
        ----------
        kept : Kept
            The readings and their place.

        Returns
        -------
        Basis
            The basis.
        """
        if self.plan is None or self.bands is None:
            return basis_of_bands(self.bands)
        label, names = kept.where.label, {bar.name for bar in self.plan.standard}
        return basis_of_plan(self.plan, self.bands, label if label in names else None)


def stored_nowhere(calibration: Calibration, rules: Rules) -> Judging[Basis, Remade]:
    """Return the steps of a run whose result is only shown.

    Parameters
    ----------
    calibration : Calibration
        Calibration to use.
    rules : Rules
        Rules for the verdicts.

    Returns
    -------
    Judging[Basis, Remade]
        The steps.
    """

    def remade(kept: Kept, result: Result, basis: Basis) -> Remade:
        decision = None if rules.bands is None else verdict_by(result, basis, rules.bands)
        return Remade(kept.where, result, decision, basis)

    return Judging(calibration, lambda kept, _: rules.basis_of(kept), remade)


@dataclass(frozen=True, slots=True)
class Ruling:
    """A verdict with its basis, and the batch and name of the run in the store.

    Parameters
    ----------
    decision : Decision
        The verdict.
    basis : Basis
        What it rests on.
    batch : int
        Number of the batch.
    where : RunReference
        Place of the readings.
    """

    decision: Decision
    basis: Basis
    batch: int
    where: RunReference


@dataclass
class BesideOld:
    """A store that takes new results beside the old results of the same readings.

    `stored` and `unchanged` count new results, and those that were the same as before.

    Parameters
    ----------
    store : Store
        The open store.
    bands : Bands
        The bands.
    plan : SortPlan | None
        Plan for runs that the store does not know, None for no plan.
    now_ms : Callable[[], int]
        Returns the time, ms since 1970 UTC.
    """

    store: Store
    bands: Bands
    plan: SortPlan | None
    now_ms: Callable[[], int]
    stored: int = field(default=0, init=False)
    unchanged: int = field(default=0, init=False)
    _new_batch: int | None = field(default=None, init=False)

    def judging(self, calibration: Calibration) -> Judging[Ruling, Remade]:
        """Return the steps of a run whose result is stored.

        Parameters
        ----------
        calibration : Calibration
            Calibration to use; the store keeps it.

        Returns
        -------
        Judging[Ruling, Remade]
            The steps.

        Raises
        ------
        StoreError
            The store cannot be written.
        """
        self.store.keep_calibration(KeptCalibration.of(calibration))
        return Judging(calibration, self._decide, self._add)

    def _decide(self, kept: Kept, result: Result) -> Ruling:
        """Return the verdict on a run by all that store and rules know of it."""
        batch, where = self._known(kept.where)
        known, named = self.store.basis_of(where), Rules(self.bands, self.plan).basis_of(kept)
        basis = named if known is None else completed(known, named)
        return Ruling(verdict_by(result, basis, self.bands), basis, batch, where)

    def _add(self, kept: Kept, result: Result, ruling: Ruling) -> Remade:
        """Store a result, and count it."""
        evaluation = Evaluation(result, ruling.decision, self.now_ms(), ruling.basis)
        decision, is_new = self.store.add_again(ruling.batch, ruling.where, evaluation)
        self.stored += is_new
        self.unchanged += not is_new
        return Remade(kept.where, result, decision, ruling.basis)

    def _known(self, where: RunReference) -> tuple[int, RunReference]:
        """Return a run's old batch and name, or a new batch for runs that the store has never seen."""
        known = self.store.run_of(where)
        if known is not None:
            return known
        if self._new_batch is None:
            self._new_batch = self.store.begin_batch("made again from archives", self.now_ms())
        return self._new_batch, where


def entries(files: Iterable[Path], damage: list[str]) -> Iterator[Kept]:
    """Yield all whole runs of archives.

    Parameters
    ----------
    files : Iterable[Path]
        The archives.
    damage : list[str]
        Gets a sentence for each damaged file; the rest goes on.

    Yields
    ------
    Kept
        A run with its place.
    """
    for file in files:
        try:
            archive = Archive.open(file)
            for offset, run in archive.entries():
                yield Kept.at(run, file, offset)
            archive.check()
        except ArchiveError as error:
            damage.append(str(error))


def usable(runs: Iterable[Kept], calibration: Calibration) -> Iterator[Kept]:
    """Yield runs as long as the calibration is for them.

    Parameters
    ----------
    runs : Iterable[Kept]
        The runs.
    calibration : Calibration
        Calibration to use.

    Yields
    ------
    Kept
        The same runs.

    Raises
    ------
    ConfigurationError
        The calibration is not for the gauge or the day of a run.
    """
    for kept in runs:
        check_use(calibration, kept.run.gauge, day_of(kept.run))
        yield kept


def recomputed(
    runs: Iterable[Kept], judging: Judging[DecidedT, Remade], store: Store | None = None
) -> Iterator[Remade]:
    """Yield what came of each run, a batch at a time so that memory stays flat.

    Parameters
    ----------
    runs : Iterable[Kept]
        The runs.
    judging : Judging[DecidedT, Remade]
        The steps of a run.
    store : Store | None
        Where these steps store; a batch is one transaction there. None if they store nothing.

    Yields
    ------
    Remade
        A run that was evaluated again.
    """
    _keep_heap()
    waiting = iter(runs)
    while batch := list(islice(waiting, BATCH)):
        with nullcontext() if store is None else store.together():
            remade = list(judging.judge_each(batch))
        yield from remade


def _keep_heap() -> None:
    """Keep the C library from returning memory after every batch only to fetch and clear it again.

    glibc raises its thresholds for that to the size of a large block once such a block was freed; this block is never
    touched, so it costs no memory. It saves a sixth of the time of a long recompute. With other C libraries it does
    nothing.
    """
    np.empty(31 << 20, np.uint8)
