"""`midspan measure`: a session at the gauge, or the single shaft whose number is given.

`midspan park` uses the same bench.
"""

import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Annotated

import typer

from midspan.base.errors import DeviceFault
from midspan.cli.options import (
    STORE,
    AllowDoubtful,
    AsJson,
    BandsFile,
    CalibrationFile,
    ClearFault,
    CycleChoice,
    Factor,
    Label,
    Shown,
    StoreAt,
    workspace_of,
)
from midspan.store.place import StorePlace

if TYPE_CHECKING:
    from midspan.pipeline.bench import Bench

GaugePort = Annotated[str, typer.Option("--port", help="Serial port of the gauge (see: midspan ports), or: rehearsal.")]
ArchiveFile = Annotated[Path, typer.Option("--archive", help="Archive that the raw readings are added to.")]
READINGS = Path("readings.avro")


@dataclass(frozen=True)
class BenchOptions:
    """Port of the gauge, and the files by which a shaft is measured, judged and kept."""

    port: str
    calibration: Path
    bands: Path
    archive: Path
    store: StorePlace
    clear_fault: bool
    allow_doubtful: bool
    cycle: str | None


def measure(
    context: typer.Context,
    port: GaugePort,
    calibration: CalibrationFile,
    bands: BandsFile,
    shaft: Annotated[
        int | None,
        typer.Option(min=0, max=2**31 - 1, help="Measure one shaft under this number, and end."),
    ] = None,
    label: Label = "",
    archive: ArchiveFile = READINGS,
    store: StoreAt = STORE,
    cycle: CycleChoice = None,
    clear_fault: ClearFault = False,
    allow_doubtful: AllowDoubtful = False,
    as_json: AsJson = False,
    k: Factor = None,
    scale: Annotated[Path | None, typer.Option(help="Scale's file (TOML), for weights in a session.")] = None,
    operator: Annotated[str, typer.Option(help="Who measures, for notes and labels in a session.")] = "",
    quiet: Annotated[bool, typer.Option("--quiet", help="No bell in a session.")] = False,
) -> None:
    """Measure shaft after shaft: lay one in, press Enter, read the verdict.

    Each shaft gets the next number by itself. At the prompt, ? lists what else you can type: a label, r to repeat, v
    to void the last, n for a note, w for its weight, s to turn the stiff side up, q to end with totals. Nothing moves
    until you press Enter. After a power cut or a pulled cable, start it again: nothing is lost. With --shaft it
    measures that one shaft, for scripts.
    """
    options = BenchOptions(port, calibration, bands, archive, store, clear_fault, allow_doubtful, cycle)
    if shaft is not None:
        _measure_single(shaft, label, options, Shown(as_json, k))
        return
    if label or as_json or k is not None or clear_fault:
        raise typer.BadParameter("--label, --json, --k and --clear-fault go with --shaft", context)
    from midspan.cli.measure_session import SessionOptions, run_session

    run_session(options, SessionOptions(scale, operator, quiet), workspace_of(context))


def _measure_single(shaft: int, label: str, options: BenchOptions, shown: Shown) -> None:
    """Measure, judge and keep the shaft in the gauge, and print the result."""
    from midspan.cli.show import show_unmeasured
    from midspan.measurement.result import Unmeasured
    from midspan.report import result_text
    from midspan.sets.twins import numbers_of_label

    with bench_at(shaft, options) as bench:
        verdict = bench.measure(shaft, label)
        others = numbers_of_label(bench.store, label) - {shaft}
    if others:
        print(
            f"shaft {min(others)} bears this label too: they count as one shaft; if they are two, say: "
            f"midspan shafts different {min(others)} {shaft}",
            file=sys.stderr,
        )
    if shown.as_json:
        print(result_text.as_json(verdict.result, verdict.decision, bench.bands))
    elif isinstance(verdict.result, Unmeasured):
        show_unmeasured(verdict.result, verdict.decision, as_json=False)
    else:
        result_text.console().print(result_text.shaft_story(verdict.result, verdict.decision, shown.k))


@contextmanager
def bench_at(shaft: int, options: BenchOptions) -> Iterator["Bench"]:
    """Yield a bench with gauge, archive and store open for one measurement; they are closed when the block exits.

    On the simulated gauge the shaft is in the gauge. The errors of port, files and gauge pass through.
    """
    from midspan.archive.writer import ArchiveWriter
    from midspan.decision.bands import load_bands
    from midspan.link.gauge import open_gauge
    from midspan.measurement.calibration_validity import check_use, load_usable
    from midspan.measurement.cycle_settings import chosen_cycle
    from midspan.measurement.thermometer import temperature_now
    from midspan.pipeline.bench import Bench

    calibration = load_usable(options.calibration, allow_doubtful=options.allow_doubtful)
    bands = load_bands(options.bands)
    cycle = None if options.cycle is None else chosen_cycle(options.cycle)
    with ExitStack() as stack:
        port = _port(options.port, shaft, stack)
        archive = stack.enter_context(ArchiveWriter(options.archive))
        if archive.moved is not None:
            print(archive.moved, file=sys.stderr)
        store = stack.enter_context(options.store.open())
        gauge = stack.enter_context(open_gauge(port))
        found = gauge.identify()  # before a batch begins: a port without a gauge leaves no trace
        bench = Bench(gauge, calibration, bands, archive, store, batch=0, cycle=cycle)
        if not options.allow_doubtful:
            day = datetime.fromtimestamp(bench.now_ms() / 1000, UTC).date()
            check_use(calibration, found.gauge, day, temperature_now(found, calibration))
        bench.batch = store.begin_batch("one by one", bench.now_ms())
        _make_ready(bench, port, options.clear_fault)
        yield bench


def _port(port: str, shaft: int, stack: ExitStack) -> str:
    """Yield the port, or that of a simulated gauge with a shaft of the demonstration in it."""
    from midspan.rehearsal import scenario
    from midspan.rehearsal.process import REHEARSAL_PORT, Rehearsal

    if port != REHEARSAL_PORT:
        return port
    stock = scenario.shafts(scenario.EXAMPLE_SHAFTS, seed=7)
    given = scenario.rehearsal([known for known in stock if known["number"] == shaft], seed=7)
    return stack.enter_context(Rehearsal(given, Path(stack.enter_context(TemporaryDirectory())))).port


def _make_ready(bench: "Bench", port: str, clear_fault: bool) -> None:
    """Store a shaft that the gauge still holds; clear its fault if the user says that the gauge was checked."""
    from midspan.report.result_text import verdict_words
    from midspan.wire.records import State

    held = bench.fetch_held()
    if held is not None:
        found = f"shaft {held.run.shaft}; it was fetched and stored first: {verdict_words(held.decision)}"
        print(f"the gauge still held {found}", file=sys.stderr)
    if bench.gauge.settled().state is State.FAULTED:
        if not clear_fault:
            raise DeviceFault(f"{port}: a fault has stopped the gauge; find out why, then use --clear-fault")
        bench.gauge.clear_fault()
