"""One shaft's whole story for the page: what became of it, every result it was ever given, down to its raw readings."""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path

import numpy as np

from midspan.archive.raw_run import PHASES, RawRun
from midspan.base.errors import MidspanError
from midspan.base.formatting import read_code, with_uncertainty
from midspan.measurement.calibration import Calibration
from midspan.measurement.harmonics import basis
from midspan.measurement.result import ShaftResult, Unmeasured
from midspan.measurement.result_form import ResultKind
from midspan.report.result_text import story, verdict_words
from midspan.sets.stock import beside_verdict
from midspan.store.evaluation import StoredResult
from midspan.store.journal import Journal
from midspan.store.lookup import HIGHEST_SHAFT, raw_run
from midspan.store.place import StorePlace
from midspan.store.stored_result import AnyResult, finite
from midspan.store.transit import Transit, TransitStage
from midspan.web.follow import Clock, Follower
from midspan.web.svg_chart import SvgChart, with_room
from midspan.web.svg_live_curve import curve, turned_in

K = 2.0
LEAST_THOU = 1.0
COLUMNS = ("phase", "time_us", "rotate_steps", "press_steps", "count", "status")


def numbers_of(follower: Follower, which: str) -> list[int]:
    """Numbers of the shafts that somebody means by a number, a label or what a label's code says; a number first."""
    name = read_code(which)
    number = int(name) if name.isascii() and name.isdigit() and int(name) <= HIGHEST_SHAFT else None
    if number is not None and (follower.store.history(number) or Journal(follower.store).transit(number)):
        return [number]
    named = {one.run.shaft for one in follower.store.history(name)}
    return sorted(named) or ([] if number is None else [number])


def shaft_values(follower: Follower, shaft: int, now: Clock) -> dict[str, object]:
    """All that the template of a shaft shows."""
    history = follower.store.history(shaft)
    newest = follower.store.latest(shaft)
    result = _result(newest)
    run, trouble = (None, "") if newest is None else readings(newest, follower.place)
    calibration = None if newest is None else _calibration(follower, newest.result)
    return {
        "shaft": shaft,
        "label": "" if newest is None else newest.run.label,
        "steps": _steps(follower, shaft, now),
        "story": [] if result is None else list(story(result, None)),
        "verdict": "" if newest is None else verdict_words(newest.decision),
        "against": beside_verdict(follower.store, shaft),
        "around": "" if result is None else around_chart(result),
        "history": [_line(one, now) for one in reversed(history)],
        "raw": [] if run is None else _phases(run),
        "readings": 0 if run is None else len(run),
        "curve": "" if run is None or calibration is None else curve(turned_in(run), calibration),
        "trouble": trouble,
        "archive": "" if newest is None else Path(newest.run.archive).name,
    }


def readings(stored: StoredResult, place: StorePlace) -> tuple[RawRun | None, str]:
    """The raw readings of a result, or why they are not there."""
    try:
        return raw_run(stored.run, place), ""
    except MidspanError as error:
        return None, str(error)


def readings_csv(run: RawRun) -> str:
    """Every reading of a run, a line each."""
    text = io.StringIO()
    lines = csv.writer(text, lineterminator="\n")
    lines.writerow(COLUMNS)
    for phase, place in run.places().items():
        columns = (run.tick_us, run.rotate_steps, run.press_steps, run.counts, run.status)
        for row in zip(*(column[place].tolist() for column in columns), strict=True):
            lines.writerow((PHASES[phase], *row))
    return text.getvalue()


def _calibration(follower: Follower, result: AnyResult) -> Calibration | None:
    """The calibration under which a gauge measured, None where it is not known."""
    if isinstance(result, Unmeasured) or result.kind is ResultKind.HAND_BENCH:
        return None
    return follower.calibration_of(str(result.gauge), result.calibration)


def _result(stored: StoredResult | None) -> ShaftResult | None:
    """The whole result, None when there is none of today's form or the hand bench made it."""
    if stored is None or not isinstance(stored.result, ShaftResult) or not _is_finite(stored.result):
        return None  # what was no number is told in the verdict
    return stored.result


def _is_finite(result: ShaftResult) -> bool:
    quantities = (
        result.spine_thou, result.u_spine_thou, result.spread_thou, result.u_spread_thou, result.four_reading_thou,
        result.u_four_reading_thou, result.runout_mm, result.u_runout_mm, result.hysteresis_pct,
        result.u_hysteresis_pct, result.older_lb, result.u_older_lb,
    )  # fmt: skip
    return all(map(math.isfinite, quantities))


def _steps(follower: Follower, shaft: int, now: Clock) -> list[tuple[str, str]]:
    transit = Journal(follower.store).transit(shaft)
    if transit is None:
        return []
    first = now.day(transit.ordered_ms), f"ordered in night {transit.night}, from the {transit.source.lower()}"
    return [first, *((now.day(one.at_ms), _words(transit, i)) for i, one in enumerate(transit.steps))]


def _words(transit: Transit, i: int) -> str:
    step = transit.steps[i]
    parts = [step.stage.value]
    if step.place is not None and step.stage is not TransitStage.JUDGED:
        parts.append(f"place {step.place}")
    if step.words:
        parts.append(step.words)
    return ": ".join(parts)


def _line(one: StoredResult, now: Clock) -> tuple[str, str, str, str]:
    """When a result was made, its spine with U, under which calibration, and the verdict."""
    made, verdict = now.day(one.made_ms), verdict_words(one.decision)
    if isinstance(one.result, Unmeasured):
        return made, "-", "-", verdict
    value, u = finite(one.result.spine_thou), finite(one.result.u_spine_thou)
    spine = "-" if value is None or u is None else with_uncertainty(value, K * u, 2)
    return made, spine, one.result.calibration or "-", verdict


def _phases(run: RawRun) -> list[tuple[str, int, float, float]]:
    """By phase: how many readings, and mean and standard deviation of their counts."""
    return [
        (PHASES[phase].lower().replace("_", " "), place.stop - place.start,
         float(run.counts[place].mean()), float(run.counts[place].std()))
        for phase, place in run.places().items()
    ]  # fmt: skip


def around_chart(result: ShaftResult) -> str:
    """The fitted deflection around the shaft with its band of U."""
    angle = np.linspace(0.0, 2 * np.pi, 121)
    terms = basis(angle).T
    middle = terms @ np.array(result.curve_thou, float)
    shape = np.array(result.curve_covariance, float).reshape(7, 7).copy()
    shape[0, :] = shape[:, 0] = 0.0  # of the form around, not of the mean
    u = K * np.sqrt(np.clip(np.einsum("ai,ij,aj->a", terms, shape, terms), 0.0, None))
    if not all(map(math.isfinite, (*middle, *u))):
        return ""
    degrees = np.degrees(angle).tolist()
    chart = SvgChart("Deflection around the shaft", (0.0, 360.0), with_room([*(middle - u), *(middle + u)], LEAST_THOU))
    chart.line(zip(degrees + degrees[::-1], [*(middle - u), *(middle + u)[::-1]], strict=True), "band")
    chart.line(zip(degrees, middle.tolist(), strict=True))
    if result.stiff_side_deg is not None:
        for side in (result.stiff_side_deg % 180, result.stiff_side_deg % 180 + 180):
            chart.line([(side, chart.y[0]), (side, chart.y[1])], "dashed")
    marks = [(float(one), f"{one}°") for one in range(0, 361, 45)]
    return chart.done("from the first reading", "deflection, thou", marks)
