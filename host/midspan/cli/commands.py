"""What the commands of the command line do, once their options are known."""

import json
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import asdict, astuple
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

from midspan.base.errors import DeviceFault, OutputError
from midspan.base.formatting import printable
from midspan.cli.options import Shown
from midspan.decision.bands import load_bands
from midspan.decision.decision import Decision
from midspan.hand_bench.result import HandResult
from midspan.measurement.calibration_validity import check_use, load_usable
from midspan.measurement.result import ShaftResult, Unmeasured
from midspan.pipeline.bench import Bench
from midspan.report import result_text
from midspan.sets.twins import numbers_of_label
from midspan.store.lookup import newest, whole
from midspan.store.place import StorePlace
from midspan.uncertainty.budget import Coverage
from midspan.wire.records import State

REHEARSED = 36  # shafts that a rehearsal of one shaft knows, those of the demonstration; any other is an empty gauge


def show(
    shaft: str, place: StorePlace, picture: Path | None, trials: int | None = None, *, as_json: bool, k: float | None
) -> None:
    """Print the newest stored result of a shaft, or with a number of trials its budget, and draw it when asked.

    Raises OutputError when there is nothing to draw, and what store and picture raise.
    """
    from midspan.sets.stock import beside_verdict

    with place.open_to_read() as store:
        stored = newest(store, shaft)
        against = beside_verdict(store, stored.run.shaft)
        benches = store.calibrations() if trials is not None else {}
    if against is not None:
        print(f"shaft {stored.run.shaft} is no stock: {against}", file=sys.stderr)
    if isinstance(stored.result, Unmeasured):
        _show_unmeasured(stored.result, stored.decision, as_json)
        if picture is not None:
            raise OutputError(f"{picture}: shaft {shaft} gave no result; there is nothing to draw")
        return
    result = whole(stored, place)
    if trials is not None:
        from midspan.cli.budget import show_budget

        show_budget(result, stored.run, place, benches, trials, Shown(as_json, k, picture))
        return
    if isinstance(result, HandResult):
        from midspan.cli.hand import show_hand

        show_hand(result, stored.decision, Shown(as_json, k, picture))
        return
    if as_json:
        print(result_text.as_json(result, stored.decision))
    else:
        result_text.console().print(
            result_text.shaft_story(result, stored.decision, k), "", result_text.budget_table(result)
        )
    if picture is not None:
        _draw(result, picture, k)


def _show_unmeasured(outcome: Unmeasured, decision: Decision, as_json: bool) -> None:
    if as_json:
        print(result_text.as_json(outcome, decision))
    else:
        name = printable(f"shaft {outcome.shaft} {outcome.label}").strip()
        result_text.console().print(f"{name}: {result_text.verdict_words(decision)}")


def _draw(result: ShaftResult, picture: Path, k: float | None) -> None:
    from midspan.report.plot_shaft import draw_around

    draw_around(result, picture, Coverage(factor=k))
    print(f"picture: {picture}", file=sys.stderr)


def ports(*, as_json: bool) -> None:
    """Print the serial ports of this machine."""
    from midspan.link import serial_port

    found = serial_port.ports()
    if as_json:
        print(json.dumps([asdict(port) for port in found]))
    elif not found:
        print("no serial ports found; plug the gauge in, or use --port rehearsal for a simulated one")
    else:
        result_text.console().print(result_text.ports_table([astuple(port) for port in found]))


def measure(
    port: str,
    shaft: int,
    label: str,
    calibration_file: Path,
    bands_file: Path,
    archive_file: Path,
    place: StorePlace,
    *,
    clear_fault: bool,
    even_so: bool,
    as_json: bool,
    k: float | None,
) -> None:
    """Measure one shaft on the gauge at a port, or on a simulated one when the port is called rehearsal."""
    with bench_at(
        port, shaft, calibration_file, bands_file, archive_file, place, clear_fault=clear_fault, even_so=even_so
    ) as bench:
        verdict = bench.measure(shaft, label)
        others = numbers_of_label(bench.store, label) - {shaft}
    if others:
        print(
            f"shaft {min(others)} bears this label too: they count as one shaft; if they are two, say: "
            f"midspan sets different {min(others)} {shaft}",
            file=sys.stderr,
        )
    if as_json:
        print(result_text.as_json(verdict.result, verdict.decision))
    elif isinstance(verdict.result, Unmeasured):
        _show_unmeasured(verdict.result, verdict.decision, as_json=False)
    else:
        result_text.console().print(result_text.shaft_story(verdict.result, verdict.decision, k))


@contextmanager
def bench_at(
    port: str, shaft: int, calibration_file: Path, bands_file: Path, archive_file: Path, place: StorePlace,
    *, clear_fault: bool, even_so: bool,
) -> Iterator[Bench]:  # fmt: skip
    """All that a shaft passes, ready to measure it, until the block is left; on the simulated gauge it lies in there.

    Raises the errors of port, files and gauge.
    """
    from midspan.archive.writer import ArchiveWriter
    from midspan.link.gauge import Gauge
    from midspan.link.open_line import open_line
    from midspan.rehearsal.process import REHEARSAL_PORT

    calibration, bands = load_usable(calibration_file, even_so=even_so), load_bands(bands_file)
    with ExitStack() as stack:
        if port == REHEARSAL_PORT:
            port = _rehearsal_port(shaft, stack)
        archive = stack.enter_context(ArchiveWriter(archive_file))
        if archive.moved is not None:
            print(archive.moved, file=sys.stderr)
        store = stack.enter_context(place.open())
        gauge = Gauge(stack.enter_context(open_line(port)))
        found = gauge.identify()  # before a batch is begun: a port that is no gauge leaves nothing behind
        bench = Bench(gauge, calibration, bands, archive, store, batch=0)
        if not even_so:
            check_use(calibration, found.gauge, datetime.fromtimestamp(bench.now_ms() / 1000, UTC).date())
        bench.batch = store.begin_batch("one by one", bench.now_ms())
        _make_ready(bench, port, clear_fault)
        yield bench


def _rehearsal_port(shaft: int, stack: ExitStack) -> str:
    """Port of a simulated gauge in which one shaft of the demonstration's stock lies."""
    from midspan.rehearsal import scenario
    from midspan.rehearsal.process import Rehearsal

    stock = scenario.shafts(REHEARSED, seed=7)
    given = scenario.rehearsal([one for one in stock if one["number"] == shaft], seed=7)
    return stack.enter_context(Rehearsal(given, Path(stack.enter_context(TemporaryDirectory())))).port


def _make_ready(bench: Bench, port: str, clear_fault: bool) -> None:
    """Store a shaft that the gauge still holds; clear its fault if the user has looked at it and says so."""
    held = bench.fetch_held()
    if held is not None:
        found = f"shaft {held.run.shaft}; it was fetched and stored first: {result_text.verdict_words(held.decision)}"
        print(f"the gauge still held {found}", file=sys.stderr)
    if bench.gauge.settled().state is State.FAULTED:
        if not clear_fault:
            raise DeviceFault(
                f"{port}: the gauge stands still because of a fault; look what stopped it, then use --clear-fault"
            )
        bench.gauge.clear_fault()
