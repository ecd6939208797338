"""What the commands of the command line do, once their options are known."""

import json
import sys
from collections.abc import Iterable, Iterator
from contextlib import ExitStack
from dataclasses import asdict, astuple, fields
from datetime import UTC, datetime
from math import nan
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from midspan import report
from midspan.archive import read
from midspan.bands import Bands, load_bands
from midspan.calibration import Calibration
from midspan.calibration_use import check_use, checked, load_usable
from midspan.coverage_factor import Coverage
from midspan.decision import Decision
from midspan.errors import ArchiveError, DeviceFault, OutputError, StoreError
from midspan.hand_commands import show_hand
from midspan.hand_shaft import HandResult, is_hand_result
from midspan.raw_run import RawRun
from midspan.records import State
from midspan.shaft import BATCH, ShaftResult, Unmeasured, evaluate
from midspan.sorter import Bench, verdict_on
from midspan.spine_budget import CAUSES
from midspan.store import Store, StoredResult
from midspan.uncertainty_commands import show_budget
from midspan.wording import printable

REHEARSAL_PORT = "rehearsal"
REHEARSED = 36  # shafts that a rehearsal of one shaft knows, those of the demonstration; any other is an empty gauge
HIGHEST_SHAFT = 2**31 - 1
MAY_BE_NONE = {"stiff_side_deg", "u_stiff_side_deg", "dof_spine", "dof_spread", "dof_runout", "dof_causes"}


def recompute(
    files: list[Path], calibration_file: Path, bands_file: Path | None, *, even_so: bool, as_json: bool, k: float | None
) -> None:
    """Print results made again from archives; ArchiveError at the end, naming every file that was damaged."""
    calibration = load_usable(calibration_file, even_so=even_so)
    bands = load_bands(bands_file) if bands_file else None
    damage: list[str] = []
    runs = _runs(files, damage)
    rows = recomputed(runs if even_so else checked(runs, calibration), calibration, bands)
    if as_json:
        _print_json(rows)
    else:
        screen = report.console()
        screen.print(report.results_table(rows, k, wide=screen.width >= report.WIDE))
    if damage:
        raise ArchiveError("; ".join(damage))


def _runs(files: list[Path], damage: list[str]) -> Iterator[RawRun]:
    """All whole runs of all files; what is wrong with a file is noted, and the rest goes on."""
    for file in files:
        try:
            yield from read(file)
        except ArchiveError as error:
            damage.append(str(error))


def recomputed(runs: Iterable[RawRun], calibration: Calibration, bands: Bands | None) -> Iterator[report.Row]:
    """Results, and verdicts when there are bands, a few batches at a time so that memory stays flat."""
    waiting: list[RawRun] = []
    _keep_heap()
    for run in runs:
        waiting.append(run)
        if len(waiting) == 4 * BATCH:
            yield from _evaluated(waiting, calibration, bands)
            waiting.clear()
    yield from _evaluated(waiting, calibration, bands)


def _keep_heap() -> None:
    """Keep the C library from giving memory back after every batch only to fetch and clear it again.

    glibc raises its limits for that to the size of a large block once one was freed; this one is never touched,
    so it costs no memory. A sixth of the time of a long recompute goes otherwise. Elsewhere it does nothing.
    """
    np.empty(31 << 20, np.uint8)


def _evaluated(runs: list[RawRun], calibration: Calibration, bands: Bands | None) -> Iterator[report.Row]:
    for result in evaluate(runs, calibration):
        yield result, verdict_on(result, bands) if bands else None


def _print_json(rows: Iterable[report.Row]) -> None:
    """One JSON array, an object a line, written as it comes."""
    before = "[\n"
    for result, decision in rows:
        sys.stdout.write(before + report.as_json(result, decision))
        before = ",\n"
    sys.stdout.write("[]\n" if before == "[\n" else "\n]\n")


def show(
    shaft: str, store_file: Path, picture: Path | None, trials: int | None = None, *, as_json: bool, k: float | None
) -> None:
    """Print the newest stored result of a shaft, or with a number of trials its budget, and draw it when asked."""
    with Store.open(store_file, create=False) as store:
        stored = store.latest(shaft) or (store.latest(int(shaft)) if _is_number(shaft) else None)
    if stored is None:
        raise StoreError(f"{store_file}: no shaft with number or label {shaft!r}; check the name")
    if stored.result is None:
        _show_unmeasured(
            Unmeasured(stored.run.shaft, stored.run.label, stored.decision.reasons), stored.decision, as_json
        )
        if picture is not None:
            raise OutputError(f"{picture}: shaft {shaft} gave no result; there is nothing to draw")
        return
    if is_hand_result(stored.result):
        show_hand(HandResult.from_dict(stored.result), stored.decision, picture, as_json=as_json, k=k)
        return
    result = _restored(stored, store_file)
    if trials is not None:
        show_budget(result, trials, picture, as_json=as_json, k=k)
        return
    if as_json:
        print(report.as_json(result, stored.decision))
    else:
        report.console().print(report.shaft_story(result, stored.decision, k), "", report.budget_table(result))
    if picture is not None:
        _draw(result, picture, k)


def _is_number(shaft: str) -> bool:
    return shaft.isdecimal() and int(shaft) <= HIGHEST_SHAFT


def _restored(stored: StoredResult, store_file: Path) -> ShaftResult:
    """The result as it was evaluated: a number that was none, which the store keeps as null, is none again."""
    values = stored.result or {}
    foreign = values.keys() ^ {field.name for field in fields(ShaftResult)}
    if foreign or len(values["u_causes"]) != len(CAUSES):
        raise StoreError(
            f"{store_file}: the result of shaft {stored.run.shaft} has the form of another Midspan; make it again "
            f"with: midspan recompute {stored.run.archive}"
        )
    whole = {name: value if name in MAY_BE_NONE else _nan_for_none(value) for name, value in values.items()}
    return ShaftResult.from_dict(whole)


def _nan_for_none(value: Any) -> Any:
    if isinstance(value, list):
        return [_nan_for_none(one) for one in value]
    return nan if value is None else value


def _show_unmeasured(outcome: Unmeasured, decision: Decision, as_json: bool) -> None:
    if as_json:
        print(report.as_json(outcome, decision))
    else:
        name = printable(f"shaft {outcome.shaft} {outcome.label}").strip()
        report.console().print(f"{name}: {report.verdict_words(decision)}")


def _draw(result: ShaftResult, picture: Path, k: float | None) -> None:
    from midspan.picture import draw_around

    draw_around(result, picture, Coverage(factor=k).k(result.dof_spine))
    print(f"picture: {picture}", file=sys.stderr)


def ports(*, as_json: bool) -> None:
    """Print the serial ports of this machine."""
    from midspan import link

    found = link.ports()
    if as_json:
        print(json.dumps([asdict(port) for port in found]))
    elif not found:
        print("no serial ports found; plug the gauge in, or use --port rehearsal for a simulated one")
    else:
        report.console().print(report.ports_table([astuple(port) for port in found]))


def measure(
    port: str,
    shaft: int,
    label: str,
    calibration_file: Path,
    bands_file: Path,
    archive_file: Path,
    store_file: Path,
    *,
    clear_fault: bool,
    even_so: bool,
    as_json: bool,
    k: float | None,
) -> None:
    """Measure one shaft on the gauge at a port, or on a simulated one when the port is called rehearsal."""
    from midspan.archive_writer import ArchiveWriter
    from midspan.gauge import Gauge
    from midspan.link import SerialLink

    calibration, bands = load_usable(calibration_file, even_so=even_so), load_bands(bands_file)
    with ExitStack() as stack:
        if port == REHEARSAL_PORT:
            port = _rehearsal_port(shaft, stack)
        archive = stack.enter_context(ArchiveWriter(archive_file))
        if archive.moved is not None:
            print(archive.moved, file=sys.stderr)
        store = stack.enter_context(Store.open(store_file))
        gauge = Gauge(stack.enter_context(SerialLink(port)))
        found = gauge.identify()  # before a batch is begun: a port that is no gauge leaves nothing behind
        bench = Bench(gauge, calibration, bands, archive, store, batch=0)
        if not even_so:
            check_use(calibration, found.gauge, datetime.fromtimestamp(bench.now_ms() / 1000, UTC).date())
        bench.batch = store.begin_batch("one by one", bench.now_ms())
        _make_ready(bench, port, clear_fault)
        verdict = bench.measure(shaft, label)
    if as_json:
        print(report.as_json(verdict.result, verdict.decision))
    elif isinstance(verdict.result, Unmeasured):
        _show_unmeasured(verdict.result, verdict.decision, as_json=False)
    else:
        report.console().print(report.shaft_story(verdict.result, verdict.decision, k))


def _rehearsal_port(shaft: int, stack: ExitStack) -> str:
    """Port of a simulated gauge in which one shaft of the demonstration's stock lies."""
    from midspan import scenario
    from midspan.rehearsal import Rehearsal

    stock = scenario.shafts(REHEARSED, seed=7)
    given = scenario.rehearsal([one for one in stock if one["number"] == shaft], seed=7)
    return stack.enter_context(Rehearsal(given, Path(stack.enter_context(TemporaryDirectory())))).port


def _make_ready(bench: Bench, port: str, clear_fault: bool) -> None:
    """Store a shaft that the gauge still holds; clear its fault if the user has looked at it and says so."""
    held = bench.fetch_held()
    if held is not None:
        found = f"shaft {held.run.shaft}; it was fetched and stored first: {report.verdict_words(held.decision)}"
        print(f"the gauge still held {found}", file=sys.stderr)
    if bench.gauge.settled().state is State.FAULTED:
        if not clear_fault:
            raise DeviceFault(
                f"{port}: the gauge stands still because of a fault; look what stopped it, then use --clear-fault"
            )
        bench.gauge.clear_fault()
