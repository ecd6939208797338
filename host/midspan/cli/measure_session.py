"""`midspan measure` without a number: a session at the gauge, with this terminal as its client."""

import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from midspan.base.clock import now_ms
from midspan.cli.screen import aside
from midspan.cli.shafts_labels import label_printer
from midspan.cli.terminal import desk_here, strokes_of

if TYPE_CHECKING:
    from midspan.attended.bench import ShaftOrder
    from midspan.attended.rules import SessionRules
    from midspan.cli.measure import BenchOptions
    from midspan.decision.bands import Bands
    from midspan.measurement.calibration import Calibration
    from midspan.rehearsal.laid_in import LaidIn
    from midspan.sets.weights import ShaftWeight
    from midspan.sorting.plan import Standard
    from midspan.workspace.settings import Workspace


@dataclass(frozen=True)
class SessionOptions:
    """What was typed for a session: the scale's file, who measures, and whether the bell is off."""

    scale: Path | None
    operator: str
    quiet: bool


@dataclass(frozen=True)
class SessionGauge:
    """A gauge that was found: its name, its port, and how shafts get into it."""

    name: str
    port: str
    lay_in: "Callable[[ShaftOrder], None]"


def run_session(options: "BenchOptions", given: SessionOptions, workspace: "Workspace | None") -> None:
    """Measure shafts as they are laid in until the person ends the session; print the totals."""
    from midspan.archive.writer import ArchiveWriter
    from midspan.attended.gauge_bench import GaugeBench, GaugeWays
    from midspan.attended.last_shaft import SessionTools
    from midspan.attended.record import SessionRecord
    from midspan.attended.session import AttendedSession
    from midspan.base.shown_units import shown_units
    from midspan.decision.bands import load_bands
    from midspan.link.reconnect import Reconnector
    from midspan.measurement.calibration_validity import load_usable
    from midspan.measurement.cycle_settings import chosen_cycle
    from midspan.store.kept_calibration import KeptCalibration

    calibration = load_usable(options.calibration, allow_doubtful=options.allow_doubtful)
    rules = _rules(load_bands(options.bands), calibration, given, workspace)
    cycle = calibration.usual_cycle if options.cycle is None else chosen_cycle(options.cycle)
    with ExitStack() as stack:
        archive = stack.enter_context(ArchiveWriter(options.archive))  # first: another session is refused before all
        gauge = stack.enter_context(_gauge(options, calibration, rules.standard))
        if archive.moved is not None:
            aside(archive.moved)
        store = stack.enter_context(options.store.open())
        store.keep_calibration(KeptCalibration.of(calibration))
        way = Reconnector(gauge.name, gauge.port)
        bench = GaugeBench(gauge.name, GaugeWays(way.opened, calibration, archive, cycle, gauge.lay_in))
        stack.callback(bench.close)
        bench.connect()
        desk = stack.enter_context(desk_here(strokes_of(workspace, quiet=given.quiet)))
        each = workspace is not None and workspace.labels.print == "each"
        printer = label_printer(workspace, store)
        tools = SessionTools(scale_here(given.scale), shown_units().weight.value, printer, prints_each=each)
        AttendedSession(desk, bench, SessionRecord(store, gauge.name, rules, now_ms), tools).run()


def _rules(
    bands: "Bands", calibration: "Calibration", given: SessionOptions, workspace: "Workspace | None"
) -> "SessionRules":
    """Return what the session judges by: bands and calibration as given, the rest as the workspace says."""
    from midspan.attended.rules import SessionRules
    from midspan.sorting.plan import Checks

    identity = calibration.calibration.id
    if workspace is None:
        return SessionRules(bands, identity, operator=given.operator)
    part = workspace.session
    checks = Checks(every_shafts=part.check_every_shafts, every_minutes=part.check_every_minutes)
    return SessionRules(bands, identity, workspace.standard, checks, given.operator or part.operator)


@contextmanager
def _gauge(
    options: "BenchOptions", calibration: "Calibration", standards: "tuple[Standard, ...]"
) -> "Iterator[SessionGauge]":
    """Yield the gauge after a look that it is there and that the calibration is for it.

    The simulated gauge gets its shafts laid in by itself.
    """
    from midspan.link.gauge import open_gauge
    from midspan.measurement.calibration_validity import check_use
    from midspan.measurement.thermometer import temperature_now
    from midspan.rehearsal.laid_in import LaidIn
    from midspan.rehearsal.process import REHEARSAL_PORT, Rehearsal

    with ExitStack() as stack:
        port = options.port
        lay_in: Callable[[ShaftOrder], None] = _by_a_person
        if port == REHEARSAL_PORT:
            folder = Path(stack.enter_context(TemporaryDirectory()))
            hand = LaidIn(folder, {bar.name: bar.under_reference[0] for bar in standards})
            port, lay_in = stack.enter_context(Rehearsal(hand.scenario(), folder)).port, _by(hand)
            aside("This is the simulated gauge: each Enter also lays in the next shaft of an invented stock.")
        with open_gauge(port) as gauge:
            found = gauge.settled()
        if not options.allow_doubtful:
            day = datetime.fromtimestamp(now_ms() / 1000, UTC).date()
            check_use(calibration, found.gauge, day, temperature_now(found, calibration))
        yield SessionGauge(found.gauge, port, lay_in)


def _by_a_person(_: "ShaftOrder") -> None:
    """Do nothing: a person has laid the shaft in."""


def _by(hand: "LaidIn") -> "Callable[[ShaftOrder], None]":
    """Return what lays a shaft into the simulated gauge."""
    return lambda order: hand.lay_in(order.shaft, order.standard)


def scale_here(file: Path | None) -> "Callable[[str], ShaftWeight] | None":
    """Return what weighs the shaft on the scale, None without a scale's file."""
    if file is None:
        return None
    from midspan.sets.scale import ScalePort, load_scale, weigh

    scale = load_scale(file)

    def weighed(name: str) -> "ShaftWeight":
        with ScalePort(scale.port, scale.baud) as pan:
            return weigh(pan, scale, name, time.monotonic)

    return weighed
