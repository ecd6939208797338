"""`midspan hand measure` without a number: a session at the hand bench, with this terminal as its client."""

from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from midspan.base.clock import now_ms
from midspan.cli.measure_session import scale_here
from midspan.cli.shafts_labels import label_printer
from midspan.cli.terminal import desk_here, strokes_of

if TYPE_CHECKING:
    from midspan.attended.hand_shaft import Rounds
    from midspan.hand_bench.bench import HandBench
    from midspan.hand_bench.record import ShaftAndRoom
    from midspan.store.place import StorePlace
    from midspan.workspace.settings import Workspace


@dataclass(frozen=True)
class HandSessionOptions:
    """Files of a session by hand, who reads, what is known of shafts and room, and whether the bell is off."""

    bands: Path
    record: Path
    store: "StorePlace"
    scale: Path | None
    operator: str
    at: "ShaftAndRoom"
    quiet: bool


def run_hand_session(
    bench: "HandBench", rounds: "Rounds", options: HandSessionOptions, workspace: "Workspace | None"
) -> None:
    """Measure shafts as they are laid in until the person ends the session; the totals are printed."""
    from midspan.attended.dial_bench import DialBench
    from midspan.attended.hand_shaft import HandStation
    from midspan.attended.last_shaft import SessionTools
    from midspan.attended.record import SessionRecord
    from midspan.attended.rules import SessionRules
    from midspan.attended.session import AttendedSession
    from midspan.base.shown_units import shown_units
    from midspan.decision.bands import load_bands
    from midspan.hand_bench.record import HandRecord, HandShaft
    from midspan.store.kept_calibration import KeptCalibration

    operator = options.operator or ("" if workspace is None else workspace.session.operator)
    rules = SessionRules(load_bands(options.bands), bench.bench.id, operator=operator)
    with ExitStack() as stack:
        store = stack.enter_context(options.store.open())
        store.keep_calibration(KeptCalibration.of_bench(bench))
        desk = stack.enter_context(desk_here(strokes_of(workspace, quiet=options.quiet)))
        station = HandStation(bench.content(), HandRecord(options.record), desk, now_ms)
        dial = DialBench(station, rounds, HandShaft(0, "", operator, options.at))
        each = workspace is not None and workspace.labels.print == "each"
        printer = label_printer(workspace, store)
        tools = SessionTools(scale_here(options.scale), shown_units().weight.value, printer, prints_each=each)
        AttendedSession(desk, dial, SessionRecord(store, dial.name, rules, now_ms), tools).run()
