"""What `midspan plot` does, once its options are known: read what is stored and draw it."""

import sys
from pathlib import Path

from midspan.base.config import validated
from midspan.base.errors import OutputError, StoreError
from midspan.base.formatting import printable, with_uncertainty
from midspan.cli.study_commands import of_labels
from midspan.decision.bands import load_bands
from midspan.hand_bench.result import HandResult
from midspan.measurement.calibration import Calibration
from midspan.report.plot_batch import draw_batch
from midspan.report.plot_budget import draw_budget
from midspan.report.plot_force import branches, draw_force
from midspan.report.plot_set import draw_set, height_in
from midspan.report.plot_shaft import check_ending, draw_around, paper
from midspan.report.plot_study import draw_chart
from midspan.report.sets_view import present, reviewed
from midspan.sets.registry import Sets
from midspan.sets.stock import each_once, spoken_against
from midspan.store.database import Store
from midspan.store.lookup import newest, raw_run, whole
from midspan.store.read_only import open_to_read
from midspan.study.control_chart import individuals_chart, weighted_mean
from midspan.uncertainty.budget import Coverage


def around(shaft: str, out: Path, store_file: Path, k: float | None) -> None:
    """Stiffness around a shaft."""
    with _open(store_file, out) as store:
        draw_around(whole(newest(store, shaft), store_file), out, Coverage(factor=k))
    _say(out)


def budget(shaft: str, out: Path, store_file: Path, k: float | None) -> None:
    """Where the uncertainty of a shaft's spine comes from."""
    with _open(store_file, out) as store:
        result = whole(newest(store, shaft), store_file)
    name = printable(f"shaft {result.shaft} {result.label}").strip()
    title = f"{name}: spine {result.spine_thou:.2f} thou, n = {result.readings} readings; where its uncertainty is from"
    draw_budget(title, result.budget, Coverage(factor=k), out)
    _say(out)


def batch(number: int, bands_file: Path | None, out: Path, store_file: Path, k: float) -> None:
    """A batch against its bands."""
    bands = None if bands_file is None else load_bands(bands_file)
    with _open(store_file, out) as store:
        stored = each_once(store, store.batch(number))
    if not stored:
        raise StoreError(f"{store_file}: batch {number} holds no shaft; midspan export lists what there is")
    with paper(out, 8.0, 8.0) as figure:
        draw_batch(figure, f"Batch {number}", stored, bands, k)
    _say(out)


def matched(name: str, out: Path, store_file: Path, k: float) -> None:
    """A kept set as a strip."""
    with _open(store_file, out) as store:
        shafts = present(store, Sets(store).named(name))
        if len(shafts) < 2:
            raise OutputError(f"set {name!r} has {len(shafts)} shafts now; there is nothing to compare")
        review = reviewed(store, shafts, k)
        against = spoken_against(store, [one.shaft for one in shafts])
    with paper(out, 8.0, height_in(len(shafts))) as figure:
        draw_set(figure, name, review, k)
    _say(out)
    for shaft, reason in against.items():
        print(f"shaft {shaft} should not be in it any more: {reason}", file=sys.stderr)


def check(label: str, quantity: str, out: Path, store_file: Path) -> None:
    """Control chart of a check standard."""
    check_ending(out)
    rows = sorted(of_labels(store_file, [label], quantity), key=lambda one: one.day)
    chart = individuals_chart([one.value for one in rows])
    draw_chart(chart, weighted_mean(chart), out, ", ".join(quantity.rsplit("_", 1)), label)
    _say(out)


def force(shaft: str, archive: Path | None, out: Path, store_file: Path) -> None:
    """Force against travel from the raw readings of a shaft's newest result."""
    with _open(store_file, out) as store:
        stored = newest(store, shaft)
        result = whole(stored, store_file)
        calibrations = store.calibrations()
    if isinstance(result, HandResult):
        raise OutputError(f"shaft {shaft} was measured on a hand bench, which has no press; there is nothing to draw")
    if result.calibration not in calibrations:
        raise StoreError(f"{store_file}: calibration {result.calibration!r} is not kept there; recompute the shaft")
    calibration = validated(Calibration, calibrations[result.calibration], store_file)
    run = raw_run(stored.run, store_file, archive)
    words = f"hysteresis {with_uncertainty(result.hysteresis_pct, 2 * result.u_hysteresis_pct)} % (k = 2)"
    found = branches(run, calibration, result.slip_pct)
    with paper(out, 8.0, 8.0) as figure:
        draw_force(figure, run, found, words)
    _say(out)


def _open(store_file: Path, out: Path) -> Store:
    check_ending(out)  # before anything is read
    return open_to_read(store_file)


def _say(out: Path) -> None:
    print(f"picture: {out}", file=sys.stderr)
