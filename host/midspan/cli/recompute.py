"""Results made again from raw archives: printed, judged, and with a store kept beside the old ones.

One pass over the archives serves all of it. A stored result is never overwritten. One that came out the same to
the last bit, under the same calibration and the same evaluation, is not stored twice; one that did not, under the
same two, would be a fault of Midspan.

The bands may be others than before; what else made a verdict may not: a check standard stays one, a night's crack limit
holds, and what an earlier evaluation found stays. A database knows these of the runs that its
nights sorted; for others the plan of their night tells them.
"""

import sys
from collections.abc import Iterable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from midspan.archive.raw_run import RawRun
from midspan.archive.reader import Archive
from midspan.base.clock import now_ms
from midspan.base.errors import ArchiveError, StoreError
from midspan.decision.bands import Bands, load_bands
from midspan.decision.basis import Basis, basis_of_bands, completed
from midspan.decision.decision import Decision
from midspan.measurement.calibration import Calibration
from midspan.measurement.calibration_validity import check_use, load_usable
from midspan.measurement.result import BATCH, ShaftResult, Unmeasured, evaluate
from midspan.measurement.result_checks import day_of
from midspan.report import result_text
from midspan.sorting.plan import SortPlan, load_sort_plan
from midspan.sorting.verdict import basis_of_plan, verdict_by
from midspan.store.database import RunReference, Store
from midspan.store.place import StorePlace

Entry = tuple[RunReference, RawRun]


@dataclass(frozen=True, slots=True)
class Remade:
    """One run made again: where its readings are, what they gave, the verdict when there are bands, and its basis."""

    where: RunReference
    result: ShaftResult | Unmeasured
    decision: Decision | None
    basis: Basis


@dataclass
class RecomputeTally:
    """How many results were stored as a new version, and how many stood there already to the last bit."""

    stored: int = 0
    unchanged: int = 0

    def count(self, *, is_new: bool) -> None:
        """Count one result."""
        self.stored += is_new
        self.unchanged += not is_new

    def __str__(self) -> str:
        return f"{self.stored} results stored beside the old ones, {self.unchanged} stood there already"


def recompute(
    files: list[Path],
    calibration_file: Path,
    bands_file: Path | None,
    place: StorePlace | None,
    plan_file: Path | None = None,
    *,
    even_so: bool,
    as_json: bool,
    k: float | None,
) -> None:
    """Print the results of all whole runs, and keep them when a store is named; a tally goes to standard error.

    The plan tells crack limit and check standards of runs that the store does not know. Raises StoreError when a store
    is named without bands, ConfigurationError for a calibration that must not be used, and ArchiveError at the end,
    naming every file that was damaged.
    """
    if place is not None and bands_file is None:
        raise StoreError(f"{place}: a stored result has a verdict; name the bands too with --bands FILE")
    bands = load_bands(bands_file) if bands_file else None
    calibration = load_usable(calibration_file, even_so=even_so)
    plan = load_sort_plan(plan_file) if plan_file else None
    damage: list[str] = []
    runs = entries(files, damage)
    remade = recomputed(runs if even_so else _usable(runs, calibration), calibration, bands, plan)
    with ExitStack() as stack:
        if place is not None:
            assert bands is not None
            store, tally = stack.enter_context(place.open()), RecomputeTally()
            store.keep_calibration(calibration.calibration.id, calibration.content())
            stack.callback(lambda: print(tally, file=sys.stderr))
            remade = kept(remade, store, tally, bands)
        _print_all(remade, as_json, k)
    if damage:
        raise ArchiveError(*damage)


def entries(files: Iterable[Path], damage: list[str]) -> Iterator[Entry]:
    """All whole runs of all files, each after its place; what is wrong with a file is noted, and the rest goes on."""
    for file in files:
        try:
            archive = Archive.open(file)
            for offset, run in archive.entries():
                yield RunReference(str(file), offset, run.shaft, run.label, run.started_ms), run
            archive.check()
        except ArchiveError as error:
            damage.append(str(error))


def _usable(runs: Iterable[Entry], calibration: Calibration) -> Iterator[Entry]:
    """The same runs; ConfigurationError at the first that the calibration is not for."""
    for where, run in runs:
        check_use(calibration, run.gauge, day_of(run))
        yield where, run


def recomputed(
    runs: Iterable[Entry], calibration: Calibration, bands: Bands | None, plan: SortPlan | None = None
) -> Iterator[Remade]:
    """Results, and verdicts when there are bands, a few batches at a time so that memory stays flat.

    A plan gives its crack limit, and the role of runs that bear the name of one of its check standards.
    """
    waiting: list[Entry] = []
    _keep_heap()
    for entry in runs:
        waiting.append(entry)
        if len(waiting) == 4 * BATCH:
            yield from _evaluated(waiting, calibration, bands, plan)
            waiting.clear()
    yield from _evaluated(waiting, calibration, bands, plan)


def _keep_heap() -> None:
    """Keep the C library from giving memory back after every batch only to fetch and clear it again.

    glibc raises its limits for that to the size of a large block once one was freed; this one is never touched,
    so it costs no memory. A sixth of the time of a long recompute goes otherwise. Elsewhere it does nothing.
    """
    np.empty(31 << 20, np.uint8)


def _evaluated(
    entries: list[Entry], calibration: Calibration, bands: Bands | None, plan: SortPlan | None
) -> Iterator[Remade]:
    results = evaluate([run for _, run in entries], calibration)
    for (where, _), result in zip(entries, results, strict=True):
        basis = basis_of_bands(bands)
        if plan is not None and bands is not None:
            names = {bar.name for bar in plan.standard}
            basis = basis_of_plan(plan, bands, where.label if where.label in names else None)
        yield Remade(where, result, verdict_by(result, basis, bands) if bands else None, basis)


def kept(remade: Iterable[Remade], store: Store, tally: RecomputeTally, bands: Bands) -> Iterator[Remade]:
    """The same results, each on the disk before it is given on, and counted, with the verdicts that the store keeps.

    The store must have their calibration already. Raises StoreError.
    """
    batch = _Batch(store)
    for one in remade:
        number, reference = batch.of(one.where)
        known = store.basis_of(reference)
        basis = one.basis if known is None else completed(known, one.basis)
        decision = verdict_by(one.result, basis, bands)
        decision, is_new = store.add_again(number, reference, one.result, decision, now_ms(), basis=basis)
        tally.count(is_new=is_new)
        yield replace(one, decision=decision, basis=basis)


class _Batch:
    """Gives a run its old batch, or one of its own for runs that the store has never seen."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self._new: int | None = None

    def of(self, where: RunReference) -> tuple[int, RunReference]:
        known = self.store.run_of(where)
        if known is not None:
            return known
        if self._new is None:
            self._new = self.store.begin_batch("made again from archives", now_ms())
        return self._new, where


def _print_all(remade: Iterator[Remade], as_json: bool, k: float | None) -> None:
    rows = ((one.result, one.decision) for one in remade)
    try:
        if as_json:
            _print_json(rows)
        else:
            screen = result_text.console()
            screen.print(result_text.results_table(rows, k, wide=screen.width >= result_text.WIDE))
    except OSError:
        for _ in remade:  # whoever reads the output has enough, or its disk is full: what is to be kept is kept
            pass
        raise


def _print_json(rows: Iterable[result_text.Row]) -> None:
    """One JSON array, an object a line, written as it comes."""
    before = "[\n"
    for result, decision in rows:
        sys.stdout.write(before + result_text.as_json(result, decision))
        before = ",\n"
    sys.stdout.write("[]\n" if before == "[\n" else "\n]\n")
