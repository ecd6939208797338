"""Damaged tables of any kind: each procedure gives a result of finite numbers, or a one-line refusal."""

import math
from copy import deepcopy

import numpy as np
import pytest
from commands_rig import midspan, refusal
from hypothesis import given, settings
from hypothesis import strategies as st
from midspan.base.errors import ConfigurationError, MidspanError
from midspan.calibrate.force import Load, calibrate_force
from midspan.calibrate.frame import RigidBar, calibrate_frame
from midspan.calibrate.live_blocks import as_travel
from midspan.calibrate.readings_table import readings_of
from midspan.calibrate.rotation import calibrate_rotation, calibrate_rotation_marks
from midspan.calibrate.span import calibrate_span
from midspan.calibrate.travel import TravelIndicator, calibrate_travel

RNG = np.random.default_rng(4)
MASSES = [0.0, 250.0, 500.0, 750.0, 1000.0, 750.0, 500.0, 250.0, 0.0] * 2
STEPS = np.linspace(400, 10_000, 24)
TURNING = np.arange(0.0, 4000.0, 20.0)
# Each procedure with a good table for it, with realistic scatter.
GOOD = {
    "force": (
        lambda table: calibrate_force(table, Load()),
        {"round": [1.0] * 9 + [2.0] * 9, "direction": (["up"] * 5 + ["down"] * 4) * 2, "mass_g": MASSES,
         "count": (5e4 + 1070 * np.array(MASSES) + RNG.normal(0, 8, 18)).tolist(), "time_s": [0.0] * 18},
    ),
    "travel": (
        lambda table: calibrate_travel(table, TravelIndicator(), 3200.0),
        {"direction": ["down"] * 24 + ["up"] * 24, "steps": [*STEPS, *STEPS[::-1]],
         "travel_mm": (0.0025 * np.append(STEPS, STEPS[::-1]) + RNG.normal(0, 0.002, 48)).tolist()},
    ),
    "blocks": (
        lambda table: calibrate_travel(as_travel(table), TravelIndicator(), 3200.0),
        {"steps": STEPS.tolist(), "block_mm": (30 - 0.0025 * STEPS + RNG.normal(0, 5e-4, 24)).tolist()},
    ),
    "frame": (
        lambda table: calibrate_frame(table, RigidBar(25.0)),
        {"travel_mm": (8 + 0.01 * np.linspace(0.5, 9.5, 19) + RNG.normal(0, 2e-4, 19)).tolist(),
         "force_n": np.linspace(0.5, 9.5, 19).tolist()},
    ),
    "span": (lambda table: calibrate_span(table, 0.03), {"span_mm": [711.18, 711.24, 711.21, 711.2, 711.26]}),
    "rotation": (
        lambda table: calibrate_rotation(table, 800.0),
        {"steps": TURNING.tolist(),
         "count": (1e5 + 3000 * np.cos(TURNING / 127.8) + RNG.normal(0, 40, len(TURNING))).tolist()},
    ),
    "marks": (lambda table: calibrate_rotation_marks(table, 800.0), {"mark_steps": [12.0, 815.0, 1618.0, 2422.0]}),
}  # fmt: skip
ANY = st.floats(allow_nan=False, allow_infinity=False) | st.sampled_from([0.0, -1.0, 1e-300, 1e9, 1e17, 1e300])


@st.composite
def spoilt(draw, table):
    """Draw a table with a few cells of any value, and columns in any unit, negated, constant or exchanged."""
    changed = deepcopy(table)
    numeric = [name for name, column in table.items() if not isinstance(column[0], str)]
    for name in draw(st.lists(st.sampled_from(numeric), max_size=3)):
        column = changed[name]
        match draw(st.integers(0, 5)):
            case 0:
                unit = 10.0 ** draw(st.integers(-12, 12))
                changed[name] = [value * unit for value in column]
            case 1:
                changed[name] = [-value for value in column]
            case 2:
                changed[name] = [column[-1]] * len(column)
            case 3:
                other = draw(st.sampled_from(numeric))
                changed[name], changed[other] = changed[other], changed[name]
            case _:
                column[draw(st.integers(0, len(column) - 1))] = draw(ANY)
    kept = draw(st.integers(1, len(changed[numeric[0]])))
    return {name: column[:kept] for name, column in changed.items()}


def outcome(kind, table):
    """Return the result of a procedure and an empty text, or None and the error's text."""
    try:
        return GOOD[kind][0](readings_of("table", **table)), ""
    except MidspanError as error:
        return None, str(error)


@pytest.mark.parametrize("kind", GOOD)
def test_the_tables_are_good_as_they_stand(kind):
    assert outcome(kind, GOOD[kind][1])[0].section


@pytest.mark.parametrize("kind", GOOD)
@given(st.data())
@settings(max_examples=120)
def test_a_damaged_table_gives_finite_numbers_or_one_line(kind, data):
    finding, said = outcome(kind, data.draw(spoilt(GOOD[kind][1])))
    if finding is None:
        assert said
        assert "\n" not in said
        return
    assert all(math.isfinite(value) for name, value in finding.section.items() if not name.startswith("dof"))
    assert all(value >= 1 for name, value in finding.section.items() if name.startswith("dof"))
    assert all(math.isfinite(value) for value in finding.figures.values())
    assert all(u >= 0 for u, _ in finding.budget.values())


def test_an_outcome_that_no_calibration_file_could_hold_makes_no_record(tmp_path):
    # Steps and travel both too large by a factor of a thousand: the readings agree with each other.
    rows = [f"{way},{1000 * step:g},{0.0025 * step:g}" for way in ("down", "up") for step in STEPS]
    (tmp_path / "travel.csv").write_text("direction,steps,travel_mm\n" + "\n".join(rows))
    said = str(refusal(midspan("calibrate", "travel", "--csv", "travel.csv", folder=tmp_path), ConfigurationError))
    assert said.startswith("travel.csv: travel: ")
    for value in ("mm_per_step", "steps_per_screw_turn", "0.008 mm"):
        assert value in said
    assert not (tmp_path / "calibration").exists()
