"""Results made again and stored beside the old ones, and what that changed: `recompute --store` and `compare`.

A result is never overwritten. One that came out the same to the last bit, under the same calibration and the
same evaluation, is not stored twice; one that did not, under the same two, would be a fault of Midspan.
"""

import json
import math
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from rich.table import Table

from midspan import report
from midspan.archive import Archive
from midspan.bands import Bands, load_bands
from midspan.calibration import Calibration
from midspan.calibration_use import load_usable
from midspan.comparison import Change, changes
from midspan.errors import ArchiveError, StoreError
from midspan.raw_run import RawRun
from midspan.shaft import BATCH, ShaftResult, evaluate
from midspan.sorter import keep_calibration, verdict_on
from midspan.store import RunReference, Store
from midspan.wording import printable, signed


@dataclass
class Tally:
    """How many results were stored as a new version, and how many stood there already to the last bit."""

    stored: int = 0
    unchanged: int = 0

    def __str__(self) -> str:
        return f"{self.stored} results stored beside the old ones, {self.unchanged} stood there already"


def require_bands(bands_file: Path | None, store_file: Path) -> Path:
    """The bands file; StoreError when there is none, for a stored result has a verdict."""
    if bands_file is None:
        raise StoreError(f"{store_file}: a stored result has a verdict; name the bands too with --bands FILE")
    return bands_file


def keep(
    files: list[Path], calibration_file: Path, bands_file: Path | None, store_file: Path, *, even_so: bool
) -> None:
    """Store what `store_again` gives and say on standard error how much that was."""
    bands = load_bands(require_bands(bands_file, store_file))
    with Store.open(store_file) as store:
        calibration = load_usable(calibration_file, even_so=even_so)
        print(store_again(files, calibration, bands, store), file=sys.stderr)


def store_again(files: list[Path], calibration: Calibration, bands: Bands, store: Store) -> Tally:
    """Evaluate every run of the archives under this calibration and store what is new.

    Raises ArchiveError at the end for files that are damaged (all whole runs are stored first) and StoreError.
    """
    keep_calibration(store, calibration)
    tally = Tally()
    batch = _Batch(store)
    damage: list[str] = []
    for file in files:
        try:
            _store_file(file, calibration, bands, batch, tally)
        except ArchiveError as error:
            damage.append(str(error))
    if damage:
        raise ArchiveError(f"{'; '.join(damage)} ({tally})")
    return tally


def _store_file(file: Path, calibration: Calibration, bands: Bands, batch: "_Batch", tally: Tally) -> None:
    archive = Archive.open(file)
    waiting: list[tuple[RunReference, RawRun]] = []
    for offset, run in archive.entries():
        waiting.append((RunReference(str(file), offset, run.shaft, run.label, run.started_ms), run))
        if len(waiting) == BATCH:
            _store(waiting, calibration, bands, batch, tally)
            waiting.clear()
    _store(waiting, calibration, bands, batch, tally)
    archive.check()


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
            self._new = self.store.begin_batch("made again from archives", round(time.time() * 1000))
        return self._new, where


def _store(
    waiting: list[tuple[RunReference, RawRun]], calibration: Calibration, bands: Bands, batch: _Batch, tally: Tally
) -> None:
    for (where, _), result in zip(waiting, evaluate([run for _, run in waiting], calibration), strict=True):
        number, reference = batch.of(where)
        decision = verdict_on(result, bands)
        values = result.as_dict() if isinstance(result, ShaftResult) else None
        plain = None if values is None else json.loads(json.dumps(values))
        if any(one.result == plain and one.decision == decision for one in batch.store.history(reference)):
            tally.unchanged += 1
        else:
            batch.store.add(number, reference, values, decision, round(time.time() * 1000))
            tally.stored += 1


def compare(store_file: Path, shaft: str | None, *, as_json: bool, k: float) -> None:
    """Print what the newest result of each shaft changed against the one before it, and why."""
    with Store.open(store_file, create=False) as store:
        calibrations = store.calibrations()
        found = [changes(versions, calibrations) for versions in store.versions()]
    steps = [step for step in found if step is not None and (shaft is None or _is(step, shaft))]
    if not steps:
        raise StoreError(
            f"{store_file}: nothing to compare; make results again with: midspan recompute FILE --store {store_file}"
        )
    if as_json:
        print(json.dumps([_plain(step) for step in steps]))
        return
    screen = report.console()
    screen.print(_table(steps, k))
    for line in _summary(steps):
        screen.print(line)


def _is(step: Change, shaft: str) -> bool:
    return shaft in (str(step.after.run.shaft), step.after.run.label)


def _plain(step: Change) -> dict[str, object]:
    run, old, new = step.after.run, step.before.decision, step.after.decision
    return {
        "shaft": run.shaft,
        "label": run.label,
        "differences": step.differences,
        "expected_spine_thou": step.expected_thou,
        "causes": list(step.causes),
        "verdict_before": old.bin or old.outcome.value,
        "verdict_after": new.bin or new.outcome.value,
        "identical": step.is_nothing,
    }


def _table(steps: list[Change], k: float) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold", caption_justify="left")
    table.caption = f"thou; U with k = {k:g}; expected: what the changed calibration values do to first order"
    table.add_column("shaft", no_wrap=True)
    for heading in ("spine", "U", "change", "expected", "spread"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("verdict")
    for step in steps:
        new = step.after.result or {}
        spine, u = new.get("spine_thou"), new.get("u_spine_thou")
        table.add_row(
            printable(f"{step.after.run.shaft} {step.after.run.label}"),
            "-" if spine is None else f"{spine:.2f}",
            "-" if u is None else f"{k * u:.2f}",
            signed(step.differences.get("spine_thou")),
            signed(step.expected_thou),
            signed(step.differences.get("spread_thou")),
            _verdicts(step),
        )
    return table


def _verdicts(step: Change) -> str:
    new = report.brief(step.after.decision)
    return f"{report.brief(step.before.decision)}, now {new}" if step.verdict_changed else new


def _summary(steps: list[Change]) -> Iterator[str]:
    moved = [step.differences["spine_thou"] for step in steps if "spine_thou" in step.differences]
    yield f"\n{len(steps)} shafts compared, {sum(step.verdict_changed for step in steps)} go elsewhere now"
    if moved:
        mean, largest = math.fsum(moved) / len(moved), max(moved, key=abs)
        yield f"spine changed by {signed(mean)} thou on average, {signed(largest)} at most"
    if all(step.is_nothing for step in steps):
        yield "every number is the same to the last bit"
    causes = dict.fromkeys(cause for step in steps for cause in step.causes)
    yield from (f"because {cause}" for cause in causes)
    if not causes and not all(step.is_nothing for step in steps):
        yield "neither calibration nor evaluation changed: only the bands did, or the raw readings are not the same"
