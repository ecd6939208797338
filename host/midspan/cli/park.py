"""`midspan park`: measure the shaft in the gauge, keep the result, and turn its stiff side up."""

import json
import sys
from typing import Annotated

import typer

from midspan.base.formatting import angle, printable
from midspan.cli.measure import READINGS, ArchiveFile, BenchOptions, GaugePort, bench_at
from midspan.cli.options import (
    STORE,
    AllowDoubtful,
    BandsFile,
    CalibrationFile,
    ClearFault,
    CycleChoice,
    Factor,
    Label,
    StoreAt,
)
from midspan.store.place import StorePlace

CAUTION = (
    "Rollers and press head move now, twice: keep fingers, hair and sleeves away until it says that they stand still."
)
MARK_IT = (
    "Rollers and head stand still. The stiff side is up, under the head, and its opposite down: mark it there with a "
    "soft pencil before anything is moved. Once lifted off, the shaft has to be measured anew."
)


def park(
    shaft: Annotated[str, typer.Argument(help="Number or label of the shaft in the gauge.", metavar="SHAFT")],
    port: GaugePort,
    calibration: CalibrationFile,
    bands: BandsFile,
    label: Label = "",
    archive: ArchiveFile = READINGS,
    store: StoreAt = STORE,
    cycle: CycleChoice = None,
    clear_fault: ClearFault = False,
    allow_doubtful: AllowDoubtful = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of words.")] = False,
    k: Factor = None,
) -> None:
    """Measure the shaft in the gauge and turn its stiff side up, for marking.

    Angles hold only until a shaft is lifted off, so it is measured now, and kept like any other. Refuses when its
    spread is within the noise. Keep fingers off rollers and head while they move.
    """
    from midspan.measurement.result import Unmeasured
    from midspan.measurement.shown_quantities import meaning, spread_text
    from midspan.report.result_text import console, verdict_words
    from midspan.sorting.park import park as turn_to_stiff_side
    from midspan.sorting.park import same_shaft, stiff_side
    from midspan.store.reference_spine import under_reference
    from midspan.uncertainty.budget import Coverage

    print(CAUTION, file=sys.stderr)  # first of all, because clearing a fault moves the head too
    options = BenchOptions(port, calibration, bands, archive, store, clear_fault, allow_doubtful, cycle)
    number = _number(store, shaft)
    with bench_at(number, options) as bench:
        before = bench.store.latest(number)
        if before is not None:
            label = label or before.run.label
        verdict = bench.measure(number, label)
        result = verdict.result
        side = stiff_side(result)
        assert not isinstance(result, Unmeasured)  # an unmeasured shaft has no stiff side
        if before is not None and not isinstance(before.result, Unmeasured):
            known = under_reference(before.result, bench.store.calibrations())
            if known is not None:
                same_shaft(result, *known)
        turned = turn_to_stiff_side(bench.gauge, verdict.run, result, bench.calibration)
    expanded_deg = Coverage(factor=k).k(None) * turned.u_deg
    if as_json:
        print(json.dumps({
            "shaft": number, "label": label, "stiff_side_deg": side, "u_parked_deg": turned.u_deg,
            "turned_steps": turned.steps, "spread_thou": result.spread_thou, "doubts": list(result.doubts),
            "outcome": verdict.decision.outcome.value, "reasons": list(verdict.decision.reasons),
        }))  # fmt: skip
        return
    screen = console()
    name = printable(f"shaft {number} {label}").strip()
    screen.print(
        f"{name}: spread around {spread_text(result, k)}, stiff side {angle(side)}°, turned up ± {expanded_deg:.1f}°; "
        f"{meaning(k)}"
    )
    screen.print(f"verdict: {verdict_words(verdict.decision)}")
    for doubt in result.doubts:
        screen.print(f"in doubt: {printable(doubt)}")
    screen.print(MARK_IT)


def _number(place: StorePlace, name: str) -> int:
    """Return the number of the shaft that is meant: a new one is taken as it is, a label is looked up."""
    from midspan.store.lookup import number_in, read_name

    number = number_in(name)
    if number is not None:
        return number
    with place.open_to_read() as store:
        return read_name(store, name)
