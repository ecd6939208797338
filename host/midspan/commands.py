"""What the commands of the command line do, once their options are known."""

import json
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from midspan import report
from midspan.archive import Archive
from midspan.bands import Bands, load_bands
from midspan.calibration import Calibration, load_calibration
from midspan.decision import Decision
from midspan.errors import ArchiveError, StoreError
from midspan.raw_run import RawRun
from midspan.shaft import BATCH, ShaftResult, Unmeasured, evaluate
from midspan.sorter import verdict_on

REHEARSAL_PORT = "rehearsal"


def recompute(files: list[Path], calibration_file: Path, bands_file: Path | None, *, as_json: bool, k: float) -> None:
    """Print results made again from archives; ArchiveError at the end when a file was damaged."""
    calibration = load_calibration(calibration_file)
    bands = load_bands(bands_file) if bands_file else None
    damage: list[str] = []
    rows = recomputed(_runs(files, damage), calibration, bands)
    if as_json:
        _print_json(rows)
    else:
        screen = report.console()
        screen.print(report.results_table(rows, k, wide=screen.width >= report.WIDE))
    if damage:
        raise ArchiveError(damage[0] + (f" (and {len(damage) - 1} more)" if len(damage) > 1 else ""))


def _runs(files: list[Path], damage: list[str]) -> Iterator[RawRun]:
    """All runs of all files; what is damaged is noted, and the rest goes on."""
    for file in files:
        try:
            archive = Archive.open(file)
            yield from archive.runs()
            damage.extend(str(part) for part in archive.damage)
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


def show(shaft: str, store_file: Path, picture: Path | None, *, as_json: bool, k: float) -> None:
    """Print the newest stored result of a shaft, and draw it when asked."""
    from midspan.store import Store

    with Store.open(store_file, create=False) as store:
        stored = store.latest(shaft) or (store.latest(int(shaft)) if shaft.isdecimal() else None)
    if stored is None:
        raise StoreError(f"{store_file}: no shaft with number or label {shaft!r}; check the name")
    if stored.result is None:
        _show_unmeasured(
            Unmeasured(stored.run.shaft, stored.run.label, stored.decision.reasons), stored.decision, as_json
        )
        return
    result = ShaftResult.from_dict(stored.result)
    if as_json:
        print(report.as_json(result, stored.decision))
    else:
        report.console().print(report.shaft_story(result, stored.decision, k), "", report.budget_table(result))
    if picture is not None:
        _draw(result, picture, k)


def _show_unmeasured(outcome: Unmeasured, decision: Decision, as_json: bool) -> None:
    if as_json:
        print(report.as_json(outcome, decision))
    else:
        report.console().print(f"shaft {outcome.shaft} {outcome.label}: {report.verdict_words(decision)}")


def _draw(result: ShaftResult, picture: Path, k: float) -> None:
    from midspan.picture import draw_around

    draw_around(result, picture, k)
    print(f"picture: {picture}", file=sys.stderr)


def ports(*, as_json: bool) -> None:
    """Print the serial ports of this machine."""
    from dataclasses import asdict, astuple

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
    as_json: bool,
    k: float,
) -> None:
    """Measure one shaft on the gauge at a port, or on a simulated one when the port is called rehearsal."""
    from contextlib import ExitStack

    from midspan import scenario
    from midspan.archive_writer import ArchiveWriter
    from midspan.gauge import Gauge
    from midspan.link import SerialLink
    from midspan.rehearsal import Rehearsal
    from midspan.sorter import Bench
    from midspan.store import Store

    calibration, bands = load_calibration(calibration_file), load_bands(bands_file)
    with ExitStack() as stack:
        if port == REHEARSAL_PORT:
            folder = Path(stack.enter_context(TemporaryDirectory()))
            given = scenario.rehearsal(scenario.shafts(max(shaft, 1), seed=7), seed=7)
            port = stack.enter_context(Rehearsal(given, folder)).port
        archive = stack.enter_context(ArchiveWriter(archive_file))
        store = stack.enter_context(Store.open(store_file))
        gauge = Gauge(stack.enter_context(SerialLink(port)))
        gauge.identify()  # before a batch is begun: a port that is no gauge leaves nothing behind
        bench = Bench(gauge, calibration, bands, archive, store, batch=0)
        bench.batch = store.begin_batch("one by one", bench.now_ms())
        held = bench.fetch_held()
        if held is not None:
            print(f"the gauge still held shaft {held.run.shaft}; it was fetched and stored first", file=sys.stderr)
        verdict = bench.measure(shaft, label)
    if as_json:
        print(report.as_json(verdict.result, verdict.decision))
    elif isinstance(verdict.result, Unmeasured):
        _show_unmeasured(verdict.result, verdict.decision, as_json=False)
    else:
        report.console().print(report.shaft_story(verdict.result, verdict.decision, k))
