"""What speaks against a result: a doubt about the reading, or a fault of the instrument.

A doubt asks for the shaft to be measured again; a fault asks for the gauge to be looked at, because every
later shaft would suffer too. Both are sentences with the number that raised them. A value that is not a
finite number is always a fault: no shaft has one.
"""

import math
from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime
from typing import Any

from midspan.archive.raw_run import RawRun
from midspan.base.units import STANDARD
from midspan.measurement.calibration import Calibration

MOST_LEFT_OUT = 0.05  # share of readings away from the curve; a spike in a hundred is ordinary
MOST_EXTRA_SCATTER = 4.0  # turning may add some scatter, but not this many times what the cell shows at rest
LOAD_RANGE = (0.5, 1.5)  # of the standard load at the full depth; beyond, it was some other measurement
MOST_ONCE_PER_TURN_THOU = 1.5  # an even tube's stiffness has no such term; a breathing crack or a skid does
MOST_ZERO_DRIFT = 0.005  # of the standard load within one cycle
SLIP_SIGMAS = 4.0


def doubts(values: Mapping[str, Any], run: RawRun, cal: Calibration) -> tuple[str, ...]:
    """Reasons to measure this shaft again or not to trust its calibration, empty when there are none."""
    left_out = values["left_out"] / (values["left_out"] + values["readings"])
    load = values["load_n"] / STANDARD.load_n
    slip_limit = 100 * SLIP_SIGMAS * cal.rotation.u_relative
    checks = (
        (left_out > MOST_LEFT_OUT, f"{left_out:.0%} of the readings lie away from the curve"),
        (
            values["turn_scatter_n"] > MOST_EXTRA_SCATTER * values["rest_scatter_n"],
            f"force scatters by {values['turn_scatter_n']:.4f} N while turning, "
            f"{values['rest_scatter_n']:.4f} N at rest",
        ),
        (not LOAD_RANGE[0] <= load <= LOAD_RANGE[1], f"the full load was {load:.0%} of the standard load"),
        (
            values["once_per_turn_thou"] > MOST_ONCE_PER_TURN_THOU,
            f"stiffness changes by {values['once_per_turn_thou']:.1f} thou once per turn, "
            "as a crack or a skid would make it",
        ),
        (not values["settled"], "the fit of what turns did not come to rest: the readings contradict each other"),
        (abs(values["slip_pct"]) > slip_limit, f"the shaft turned {values['slip_pct']:+.1f} % off the roller's ratio"),
    )
    return (
        tuple(sentence for wrong, sentence in checks if wrong)
        + ran_out(cal, day_of(run))
        + cal.calibration.reservations
    )


def faults(values: Mapping[str, Any], run: RawRun, cal: Calibration) -> tuple[str, ...]:
    """Reasons to stop and look at the gauge, empty when there are none."""
    drift = values["zero_drift_n"] / STANDARD.load_n
    # One sum tells whether any value is not finite; which one is asked only then.
    broken = [] if math.isfinite(sum(filter(None, values.values()))) else [*_not_finite(values)]
    checks = (
        (bool(broken), f"not a number: {', '.join(broken)}"),
        (values["rest_scatter_n"] == 0, "the count never changed at rest: the cell is stuck"),
        (abs(drift) > MOST_ZERO_DRIFT, f"the zero moved by {drift:+.2%} of the standard load within one cycle"),
    )
    return tuple(sentence for wrong, sentence in checks if wrong) + of_another_gauge(cal, run.gauge)


def day_of(run: RawRun) -> date:
    """The day (UTC) on which a run was measured."""
    return datetime.fromtimestamp(run.started_ms / 1000, UTC).date()


def ran_out(cal: Calibration, day: date) -> tuple[str, ...]:
    """That a calibration was not valid any more on a day, or nothing."""
    last = cal.calibration.valid_until
    if last is None or day <= last:
        return ()
    return (f"measured on {day}, but calibration {cal.calibration.id} ran out on {last}",)


def of_another_gauge(cal: Calibration, gauge: str) -> tuple[str, ...]:
    """That a calibration is not of this gauge, or nothing."""
    if gauge == cal.calibration.gauge:
        return ()
    return (f"measured on gauge {gauge!r}, but the calibration is of {cal.calibration.gauge!r}",)


def about_calibration(sentence: str) -> bool:
    """Return whether a doubt or fault is about the calibration used and not about the reading."""
    return (
        sentence.startswith("calibration ")
        or ", but calibration " in sentence
        or ", but the calibration is of " in sentence
    )


def misuse(cal: Calibration, gauge: str, day: date) -> tuple[str, ...]:
    """Why a calibration should not be used for what a gauge measured on a day; empty when nothing is against it."""
    return of_another_gauge(cal, gauge) + ran_out(cal, day)


def _not_finite(values: Mapping[str, Any]) -> Iterator[str]:
    return (name for name, value in values.items() if value is not None and not math.isfinite(value))
