"""Values of a shaft for the page: its way through the gauge and every result it was given, down to its raw readings."""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path

import numpy as np

from midspan.archive.raw_run import PHASES, RawRun
from midspan.base.errors import MidspanError
from midspan.measurement.calibration import Calibration
from midspan.measurement.definition import DEFINITION
from midspan.measurement.harmonics import basis, curve_at
from midspan.measurement.result import ShaftResult, Unmeasured
from midspan.measurement.result_form import ResultKind
from midspan.measurement.shown_quantities import (
    UNKNOWN,
    across_unit,
    in_across_unit,
    meaning,
    spine_text,
    spine_unit,
)
from midspan.report.result_text import verdict_words, whole_story
from midspan.sets.stock import beside_verdict
from midspan.store.evaluation import StoredResult
from midspan.store.journal import Journal
from midspan.store.lookup import bearers, number_in, raw_run
from midspan.store.place import StorePlace
from midspan.store.records import Records
from midspan.store.reference_spine import StatedSpine
from midspan.store.stored_result import AnyResult, finite
from midspan.store.transit import Transit, TransitStage
from midspan.uncertainty.budget import Coverage
from midspan.web.follow import Clock, Follower
from midspan.web.svg_chart import SvgChart, with_room
from midspan.web.svg_live_curve import curve, turned_in

LEAST_THOU = 1.0
COLUMNS = ("phase", "time_us", "rotate_steps", "press_steps", "count", "status")


def numbers_of(follower: Follower, which: str) -> list[int]:
    """Return the numbers of the shafts that a person may mean.

    Parameters
    ----------
    follower : Follower
        Store to read.
    which : str
        A number, a label in any case or the text of a label's code; a number comes first.

    Returns
    -------
    list[int]
        Ascending; empty if no shaft fits.
    """
    number = number_in(which)
    if number is not None and (follower.store.history(number) or Journal(follower.store).transit(number)):
        return [number]
    with Records.of(follower.store) as records:
        named = bearers(records, which)
    return sorted(named) or ([] if number is None else [number])


def shaft_values(follower: Follower, shaft: int, now: Clock) -> dict[str, object]:
    """Return the values of the template of a shaft.

    Parameters
    ----------
    follower : Follower
        Store to read.
    shaft : int
        Number of the shaft.
    now : Clock
        Time and zone.

    Returns
    -------
    dict[str, object]
        Values by name.
    """
    history = follower.store.history(shaft)
    newest = follower.store.latest(shaft)
    result = _result(newest)
    run, trouble = (None, "") if newest is None else readings(newest, follower.place)
    calibration = None if newest is None else _calibration(follower, newest.result)
    return {
        "shaft": shaft,
        "label": "" if newest is None else newest.run.label,
        "steps": _steps(follower, shaft, now),
        "story": [] if result is None else list(whole_story(result)),
        "verdict": "" if newest is None else verdict_words(newest.decision),
        "against": beside_verdict(follower.store, shaft),
        "around": "" if result is None else around_chart(result),
        "history": [_line(stored, now) for stored in reversed(history)],
        "raw": [] if run is None else _phases(run),
        "readings": 0 if run is None else len(run),
        "curve": "" if run is None or calibration is None else curve(turned_in(run), calibration),
        "trouble": trouble,
        "unit": spine_unit(),
        "meaning": meaning(),
        "archive": "" if newest is None else Path(newest.run.archive).name,
    }


def readings(stored: StoredResult, place: StorePlace) -> tuple[RawRun | None, str]:
    """Return the raw readings of a result, or the reason why they are missing.

    Parameters
    ----------
    stored : StoredResult
        Result from the store.
    place : StorePlace
        Where the store is.

    Returns
    -------
    tuple[RawRun | None, str]
        Readings and an empty text, or None and the reason.
    """
    try:
        return raw_run(stored.run, place), ""
    except MidspanError as error:
        return None, str(error)


def readings_csv(run: RawRun) -> str:
    """Return every reading of a run as CSV, a line each.

    Parameters
    ----------
    run : RawRun
        Run from the archive.

    Returns
    -------
    str
        Columns as in COLUMNS.
    """
    text = io.StringIO()
    lines = csv.writer(text, lineterminator="\n")
    lines.writerow(COLUMNS)
    for phase, place in run.places().items():
        columns = (run.tick_us, run.rotate_steps, run.press_steps, run.counts, run.status)
        for row in zip(*(column[place].tolist() for column in columns), strict=True):
            lines.writerow((PHASES[phase], *row))
    return text.getvalue()


def _calibration(follower: Follower, result: AnyResult) -> Calibration | None:
    """Return the calibration under which a gauge measured, or None if it is not known."""
    if isinstance(result, Unmeasured) or result.kind is ResultKind.HAND_BENCH:
        return None
    return follower.calibration_of(str(result.gauge), result.calibration)


def _result(stored: StoredResult | None) -> ShaftResult | None:
    """Return the whole result, or None if it has another form or the hand bench made it."""
    if stored is None or not isinstance(stored.result, ShaftResult) or not _is_finite(stored.result):
        return None  # the verdict says which value was not finite
    return stored.result


def _is_finite(result: ShaftResult) -> bool:
    """Return True if every quantity of a result is a finite number."""
    quantities = (
        result.spine_thou, result.u_spine_thou, result.spread_thou, result.u_spread_thou, result.four_reading_thou,
        result.u_four_reading_thou, result.runout_mm, result.u_runout_mm, result.hysteresis_pct,
        result.u_hysteresis_pct, result.older_lb, result.u_older_lb,
    )  # fmt: skip
    return all(map(math.isfinite, quantities))


def _steps(follower: Follower, shaft: int, now: Clock) -> list[tuple[str, str]]:
    """Return time and words of each step of a shaft; empty if it was in no night."""
    transit = Journal(follower.store).transit(shaft)
    if transit is None:
        return []
    first = now.day(transit.ordered_ms), f"fed in run {transit.night}, from the {transit.source.lower()}"
    return [first, *((now.day(step.at_ms), _words(transit, i)) for i, step in enumerate(transit.steps))]


def _words(transit: Transit, i: int) -> str:
    """Return the words of a step."""
    step = transit.steps[i]
    parts = [step.stage.value]
    if step.place is not None and step.stage is not TransitStage.JUDGED:
        parts.append(f"place {step.place}")
    if step.words:
        parts.append(step.words)
    return ": ".join(parts)


def _line(stored: StoredResult, now: Clock) -> tuple[str, str, str, str]:
    """Return when a result was made, its spine with its ±, its calibration and the verdict."""
    made, verdict = now.day(stored.made_ms), verdict_words(stored.decision)
    if isinstance(stored.result, Unmeasured):
        return made, "-", "-", verdict
    value, u = finite(stored.result.spine_thou), finite(stored.result.u_spine_thou)
    spine = UNKNOWN if value is None or u is None else spine_text(stored.result).cell
    stated_for = StatedSpine.of(stored.result).stated_for
    if stated_for != DEFINITION:
        spine += f" ({stated_for})"
    return made, spine, stored.result.calibration or "-", verdict


def _phases(run: RawRun) -> list[tuple[str, int, float, float]]:
    """Return name, number of readings, mean and standard deviation of the counts of each phase."""
    return [
        (PHASES[phase].lower().replace("_", " "), place.stop - place.start,
         float(run.counts[place].mean()), float(run.counts[place].std()))
        for phase, place in run.places().items()
    ]  # fmt: skip


def around_chart(result: ShaftResult) -> str:
    """Draw the fitted deflection around the shaft with the 95 % range of its shape.

    Parameters
    ----------
    result : ShaftResult
        Result of the shaft.

    Returns
    -------
    str
        SVG; empty if the result has values that are not finite.
    """
    angle = np.linspace(0.0, 2 * np.pi, 121)
    terms = basis(angle).T
    unit = in_across_unit(1.0)
    middle = unit * curve_at(angle, result.curve_thou, result.higher_thou)
    shape = np.array(result.curve_covariance, float).reshape(7, 7).copy()
    shape[0, :] = shape[:, 0] = 0.0  # the band is that of the shape around, not of the mean
    half = unit * Coverage().k(result.dof_spread)
    u = half * np.sqrt(np.clip(np.einsum("ai,ij,aj->a", terms, shape, terms), 0.0, None))
    if not all(map(math.isfinite, (*middle, *u))):
        return ""
    degrees = np.degrees(angle).tolist()
    chart = SvgChart(
        "Deflection around the shaft", (0.0, 360.0), with_room([*(middle - u), *(middle + u)], unit * LEAST_THOU)
    )
    chart.line(zip(degrees + degrees[::-1], [*(middle - u), *(middle + u)[::-1]], strict=True), "band")
    chart.line(zip(degrees, middle.tolist(), strict=True))
    if result.stiff_side_deg is not None:
        for side in (result.stiff_side_deg % 180, result.stiff_side_deg % 180 + 180):
            chart.line([(side, chart.y[0]), (side, chart.y[1])], "dashed")
    marks = [(float(mark_deg), f"{mark_deg}°") for mark_deg in range(0, 361, 45)]
    return chart.done("from the first reading", f"deflection, {across_unit()}", marks)
