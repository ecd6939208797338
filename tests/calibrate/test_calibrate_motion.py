"""Travel, frame, span and rotation calibration: known truths, scatter as stated, and refusals."""

import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from midspan.base.errors import ReadingsError
from midspan.calibrate.frame import RigidBar, bar_bend_mm_per_n, calibrate_frame
from midspan.calibrate.readings_table import readings_of
from midspan.calibrate.rotation import calibrate_rotation, calibrate_rotation_marks
from midspan.calibrate.span import calibrate_span
from midspan.calibrate.travel import TravelIndicator, calibrate_travel
from refusals import place_in

SCREW_STEPS = 3200.0
DIAL = TravelIndicator(u_reading_mm=0.002, u_scale=1e-4)


def refused(call, *arguments):
    """Return the error with which a procedure refuses its readings."""
    with pytest.raises(ReadingsError) as caught:
        call(*arguments)
    assert "\n" not in str(caught.value)
    return caught.value


def codes(found):
    """Return the codes of the remarks of a result."""
    return [remark.code for remark in found.remarks]


# Travel


def travel_table(scale=0.0025, wave=0.004, phase_deg=30.0, backlash=0.03, noise=0.001, seed=1, steps=None):
    """Return readings of a screw with this scale in mm per step, wave in mm, backlash in mm and noise in mm."""
    rng = np.random.default_rng(seed)
    steps = np.linspace(400, 10_000, 25) if steps is None else np.asarray(steps, float)
    angle = 2 * np.pi * steps / SCREW_STEPS + np.radians(phase_deg)
    down = scale * steps + wave * np.sin(angle) + rng.normal(0, noise, len(steps))
    up = scale * steps + wave * np.sin(angle) + backlash + rng.normal(0, noise, len(steps))
    ways = ["down"] * len(steps) + ["up"] * len(steps)
    return readings_of(
        "travel.csv", direction=ways, steps=[*steps, *steps[::-1]], travel_mm=[*down.tolist(), *up[::-1].tolist()]
    )


def test_scale_backlash_and_screw_come_back():
    found = calibrate_travel(travel_table(), DIAL, SCREW_STEPS, 6.5)
    section = found.section
    assert section["mm_per_step"] == pytest.approx(0.0025, rel=4e-5)
    assert section["screw_cos_mm"] == pytest.approx(0.004 * math.sin(math.radians(30)), abs=8e-4)
    assert section["screw_sin_mm"] == pytest.approx(0.004 * math.cos(math.radians(30)), abs=8e-4)
    assert found.figures["backlash_mm"] == pytest.approx(0.03, abs=4 * found.figures["u_backlash_mm"])
    assert section["clearance_mm"] == 6.5
    assert section["u_scale"] == pytest.approx(
        math.hypot(*(found.budget[cause][0] for cause in ("readings", "indicator")))
    )


@pytest.mark.slow
def test_scale_and_backlash_scatter_as_stated():
    founds = [calibrate_travel(travel_table(seed=seed), DIAL, SCREW_STEPS) for seed in range(200)]
    scale = [(found.section["mm_per_step"] / 0.0025 - 1) / found.budget["readings"][0] for found in founds]
    backlash = [(found.figures["backlash_mm"] - 0.03) / found.figures["u_backlash_mm"] for found in founds]
    for pulls in (scale, backlash):
        assert 0.8 < np.std(pulls) < 1.25
        assert abs(np.mean(pulls)) < 0.3


def test_a_screw_without_error_gets_none():
    found = calibrate_travel(travel_table(wave=0.0), DIAL, SCREW_STEPS)
    assert found.section["screw_cos_mm"] == found.section["screw_sin_mm"] == 0
    assert found.section["u_screw_mm"] < 0.001
    assert codes(found) == ["no_screw_error"]


def test_places_at_whole_turns_do_not_show_the_screw_s_error():
    found = calibrate_travel(travel_table(steps=[3200.0 * i for i in range(1, 10)]), DIAL, SCREW_STEPS)
    assert found.section["screw_sin_mm"] == 0
    assert found.section["u_screw_mm"] >= DIAL.u_reading_mm
    assert codes(found) == ["screw_unread"]


def test_one_way_only_leaves_backlash_unknown():
    table = travel_table()
    down = readings_of(
        "travel.csv", direction=["down"] * 25, steps=table["steps"][:25].tolist(), travel_mm=table["travel_mm"][:25]
    )
    found = calibrate_travel(down, DIAL, SCREW_STEPS)
    assert "backlash_mm" not in found.figures
    assert codes(found) == ["screw_error", "one_way"]


@pytest.mark.parametrize(("backlash_mm", "code"), [(-0.03, "negative_backlash"), (0.6, "large_backlash"), (0.03, None)])
def test_an_unlikely_backlash_is_remarked_on(backlash_mm, code):
    found = calibrate_travel(travel_table(backlash=backlash_mm), DIAL, SCREW_STEPS)
    assert codes(found) == ["screw_error", *([code] if code else [])]


@given(st.floats(-20.0, 20.0), st.floats(0.5, 2.0))
@settings(max_examples=20)
def test_where_the_indicator_starts_and_how_long_its_millimetre_is(offset, unit):
    table = travel_table()
    other = readings_of(
        "travel.csv", direction=list(table.words["direction"]), steps=table["steps"].tolist(),
        travel_mm=(table["travel_mm"] * unit + offset).tolist(),
    )  # fmt: skip
    first, second = (calibrate_travel(readings, DIAL, SCREW_STEPS).section for readings in (table, other))
    for key in ("mm_per_step", "screw_cos_mm", "screw_sin_mm"):
        assert second[key] / unit == pytest.approx(first[key], rel=1e-6)


def test_travel_that_falls_back_is_refused_with_its_line():
    table = travel_table()
    travel = table["travel_mm"].tolist()
    travel[10] -= 1.2
    error = refused(
        calibrate_travel,
        readings_of("travel.csv", direction=list(table.words["direction"]), steps=table["steps"], travel_mm=travel),
        DIAL,
        SCREW_STEPS,
    )
    assert place_in(error) == ("travel.csv", 12)


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (lambda steps, travel: (travel, steps), "swapped"),
        (lambda steps, travel: (steps, -travel), "reversed"),
        (lambda steps, travel: (steps[:4], travel[:4]), "too_few"),
        (lambda steps, travel: (steps, 0 * travel + 3.0), "still"),
    ],
)
def test_travel_tables_without_sense(change, code):
    table = travel_table()
    steps, travel = change(table["steps"], table["travel_mm"])
    ways = list(table.words["direction"])[: len(steps)]
    readings = readings_of("t.csv", direction=ways, steps=steps, travel_mm=travel)
    assert refused(calibrate_travel, readings, DIAL, SCREW_STEPS).code == code


def test_an_indicator_read_in_inches_shows_against_the_last_record():
    table = travel_table(scale=0.0025 / 25.4, wave=0.0, noise=1e-5, backlash=0.001)
    assert "inches" in str(refused(calibrate_travel, table, DIAL, SCREW_STEPS, 0.0, 0.0025))


# Frame


# By hand: 711.2^3 / (48 * 205 000 * 19 174.76) = 0.0019066 mm/N, 16.45 um or 0.648 thou at 8.63 N.
STEEL = RigidBar(25.0)
BEND = 0.0019066


def frame_table(give=0.0101, square=0.0, noise=2e-5, seed=1, play=0.0, turns_n=5.0):
    """Return readings on STEEL of a frame that yields `give` mm/N, and `square` mm/N^2 more under load.

    At the force `turns_n` the nut turns over: the head stays behind by `play` mm.
    """
    rng = np.random.default_rng(seed)
    force = np.linspace(0.5, 9.2, 16)
    travel = 8.0 + (give + BEND) * force + square * force**2 + play * (force > turns_n) + rng.normal(0, noise, 16)
    return readings_of("frame.csv", travel_mm=travel, force_n=force)


def test_the_give_comes_back_within_its_uncertainty():
    founds = [calibrate_frame(frame_table(seed=seed), STEEL) for seed in range(100)]
    pulls = [(found.section["give_mm_per_n"] - 0.0101) / found.budget["readings_mm_per_n"][0] for found in founds]
    assert 0.75 < np.std(pulls) < 1.3
    assert codes(founds[0]) == []


def test_a_bar_s_own_bend_by_the_handbook():
    # Roark's Formulas for Stress and Strain, 7th ed., table 8.1: P L^3 / 48 E I; 25 mm of steel on 28 in by hand:
    # I = 19 174.76 mm4, 711.2^3 / (48 * 200 000 * 19 174.76)
    assert bar_bend_mm_per_n(25.0, 200.0, 711.2) == pytest.approx(0.0019542, rel=1e-4)
    assert STEEL.bend_mm_per_n == pytest.approx(BEND, rel=1e-4)


@pytest.mark.parametrize(("diameter", "thou"), [(25.0, 0.648), (20.0, 1.582)])
def test_what_the_bend_of_a_bar_would_do_to_a_spine(diameter, thou):
    # The bend under the standard load is travel that the shaft would be charged with; (25 / 20)^4 = 2.441.
    assert RigidBar(diameter).bend_mm_per_n * 8.629852 / 0.0254 == pytest.approx(thou, abs=0.002)


def test_the_bar_s_bend_is_taken_off_and_costs_uncertainty():
    thicker, plain = (calibrate_frame(frame_table(), bar) for bar in (RigidBar(30.0), STEEL))
    apart = BEND * (1 - (25 / 30) ** 4)
    assert thicker.section["give_mm_per_n"] - plain.section["give_mm_per_n"] == pytest.approx(apart, rel=1e-3)
    assert plain.section["u_give_mm_per_n"] > thicker.section["u_give_mm_per_n"]
    # Fourth power of the diameter, third of the span, first of the modulus (JCGM 100:2008, 5.1.6).
    relative = math.hypot(4 * 0.03 / 25, 3 * 1.0 / 711.2, 5 / 205)
    assert plain.budget["bar_mm_per_n"][0] == pytest.approx(BEND * relative, rel=1e-3)


def test_a_soft_frame_is_remarked_on():
    assert codes(calibrate_frame(frame_table(give=0.06), STEEL)) == ["soft_frame"]


def test_a_give_that_changes_with_load_is_reported_and_widens():
    found = calibrate_frame(frame_table(square=1e-4), STEEL)
    assert codes(found) == ["curved"]
    # half of the change of slope over the range of loads, as a bound
    assert found.section["u_give_mm_per_n"] > 1e-4 * 0.9 * 8.63 / math.sqrt(3) * 0.99


@pytest.mark.parametrize("square", [0.0, 1e-4])
@pytest.mark.parametrize("turns_n", [2.0, 4.0, 7.0])
@pytest.mark.parametrize("play", [0.005, 0.03])
def test_a_nut_that_turns_over_is_named_with_its_play_and_force(play, turns_n, square):
    error = refused(calibrate_frame, frame_table(play=play, turns_n=turns_n, square=square, noise=2e-4), STEEL)
    below, above, height = (float(value) for value in re.findall(r"\d+\.\d+", str(error))[:3])
    assert error.code == "nut_turns_over"
    assert below <= turns_n <= above
    assert height == pytest.approx(play, abs=0.002)


def test_scatter_and_a_smooth_curve_are_no_jump():
    for seed in range(200):
        calibrate_frame(frame_table(seed=seed, noise=1e-3, square=1e-4 * (seed % 3)), STEEL)


@pytest.mark.parametrize(
    ("table", "bar", "code"),
    [
        (frame_table(give=1.47), STEEL, "bar_bends"),
        (frame_table(give=-0.015), STEEL, "reversed"),
        (frame_table(), RigidBar(16.0), "bar_too_thin"),
        (readings_of("frame.csv", travel_mm=[8.0, 8.01, 8.02], force_n=[1.0, 2.0, 3.0]), STEEL, "too_few"),
    ],
)
def test_bars_that_are_not_rigid_and_readings_that_are_too_few(table, bar, code):
    assert refused(calibrate_frame, table, bar).code == code


def test_a_shaft_in_place_of_the_bar_is_named_by_its_spine():
    # common practice: spine 500 bends 12.7 mm under 8.63 N
    assert "spine 500" in str(refused(calibrate_frame, frame_table(give=12.7 / 8.629852 - BEND), STEEL))


# Span


def test_span_and_its_uncertainty_by_hand():
    # JCGM 100:2008, 4.2.3: s / sqrt(n) of 711.1, 711.2, 711.3 is 0.1 / sqrt(3), with 2 degrees of freedom
    found = calibrate_span(readings_of("s.csv", span_mm=[711.1, 711.2, 711.3]), 0.03)
    assert found.section["span_mm"] == pytest.approx(711.2)
    assert found.section["u_span_mm"] == pytest.approx(math.hypot(0.1 / math.sqrt(3), 0.03))
    assert found.budget["readings_mm"] == (pytest.approx(0.0577350), 2.0)


@pytest.mark.parametrize(
    ("span", "unit"), [(28.0, "inches"), (71.12, "centimetres"), (0.7112, "metres"), (28_000.0, "thousandths")]
)
def test_a_span_in_another_unit(span, unit):
    assert unit in str(refused(calibrate_span, readings_of("s.csv", span_mm=[span] * 3), 0.03))


def test_a_misread_span_is_named():
    error = refused(calibrate_span, readings_of("s.csv", span_mm=[711.2, 711.3, 721.2, 711.2]), 0.03)
    assert place_in(error) == ("s.csv", 4)
    assert re.findall(r"\d+\.\d", str(error)) == ["721.2", "10.0"]


def test_a_rule_without_certificate_is_known_by_a_guess_only():
    table = readings_of("s.csv", span_mm=[711.2, 711.21, 711.19])
    guessed, certified = calibrate_span(table, 0.03), calibrate_span(table, 0.03, "house 7, 2026-3")
    assert guessed.section["u_span_mm"] == certified.section["u_span_mm"]
    assert guessed.section["dof_span"] < 10 < certified.section["dof_span"]
    assert codes(guessed) == ["no_certificate", "rims_unstated"]
    assert certified.artefacts == ({"instrument": "house 7, 2026-3", "u_mm": 0.03},)
    assert codes(certified) == ["rims_unstated"]


def test_one_reading_of_the_span_is_remarked_on():
    found = calibrate_span(readings_of("s.csv", span_mm=[711.2]), 0.03)
    assert codes(found) == ["one_reading", "no_certificate", "rims_unstated"]
    assert found.section["u_span_mm"] > 0.1


@pytest.mark.parametrize(("span_mm", "is_off"), [(711.2, False), (706.3, False), (706.1, True), (716.3, True)])
def test_a_span_that_is_not_28_inches_is_remarked_on(span_mm, is_off):
    found = calibrate_span(readings_of("s.csv", span_mm=[span_mm] * 3), 0.03, "house 7")
    assert codes(found) == (["not_28_in", "rims_unstated"] if is_off else ["rims_unstated"])


# Rotation


def turning(period=803.2, noise=20.0, amplitude=3000.0, turns=10, seed=1, jump=0.0):
    """Return readings of a bowed shaft that turns every `period` steps and skids by `jump` steps half way."""
    rng = np.random.default_rng(seed)
    steps = np.arange(0, turns * period, 5.0)
    turned = steps + jump * (steps > steps.mean())
    count = 4e5 + amplitude * np.cos(2 * np.pi * turned / period + 0.4) + 0.2 * steps
    count += 0.3 * amplitude * np.sin(4 * np.pi * turned / period) + rng.normal(0, noise, len(steps))
    return readings_of("rotation.csv", steps=steps, count=count)


@pytest.mark.slow
def test_the_period_comes_back_as_well_as_the_bound_allows():
    errors, stated = [], []
    for seed in range(60):
        found = calibrate_rotation(turning(seed=seed), 800.0)
        errors.append(found.section["steps_per_turn"] - 803.2)
        stated.append(found.budget["readings_steps"][0])
    # Cramer-Rao bound of a sinusoid's frequency (S. M. Kay, 1993, example 3.14, from memory), both orders together:
    # u(period) / period = sqrt(6 s^2 / N / sum(A_k^2 k^2)) / (pi * turns)
    length = len(turning()["steps"])
    power = 3000.0**2 + (2 * 900.0) ** 2
    bound = math.sqrt(6 * 20.0**2 / length / power) / (math.pi * 10) * 803.2
    assert np.std(errors) == pytest.approx(bound, rel=0.3)
    assert np.median(stated) >= 0.9 * bound
    assert abs(np.mean(errors)) < bound


def test_slip_is_the_difference_from_the_expected_ratio():
    found = calibrate_rotation(turning(), 800.0)
    assert found.figures["slip_pct"] == pytest.approx(0.4, abs=0.002)
    assert [codes(calibrate_rotation(turning(), expected)) for expected in (800.0, 780.0)] == [[], ["slip"]]


def test_a_skid_in_the_middle_widens_the_uncertainty():
    plain, skid = (calibrate_rotation(turning(jump=jump), 800.0).figures["u_slip_pct"] for jump in (0.0, 8.0))
    assert skid > 5 * plain


@pytest.mark.parametrize(
    ("table", "code"),
    [
        (turning(turns=2), "too_few"),
        (turning(amplitude=0.0, noise=100.0), "no_pattern"),
        (turning(period=950.0), "no_pattern"),
        (turning(period=860.0), "no_turn"),
    ],
)
def test_turning_that_shows_no_period(table, code):
    assert refused(calibrate_rotation, table, 800.0).code == code


@pytest.mark.parametrize("count", [0.0, 84_000.0, 1e8])
@pytest.mark.parametrize("drift", [0.0, 3.0])
def test_a_count_that_does_not_vary_shows_no_period(count, drift):
    # Rounding must not be taken for a pattern.
    steps = np.arange(0.0, 4000.0, 20.0)
    table = readings_of("r.csv", steps=steps.tolist(), count=(count + drift * steps).tolist())
    assert refused(calibrate_rotation, table, 800.0).code == "constant"


def test_index_marks():
    found = calibrate_rotation_marks(readings_of("m.csv", mark_steps=[3.0, 806.0, 1610.0, 2413.0, 3216.0]), 800.0)
    assert found.section["steps_per_turn"] == pytest.approx(803.3, abs=0.3)
    error = refused(calibrate_rotation_marks, readings_of("m.csv", mark_steps=[3.0, 806.0, 2413.0, 3216.0]), 800.0)
    assert (place_in(error), "1607" in str(error)) == (("m.csv", 4), True)
    assert refused(calibrate_rotation_marks, readings_of("m.csv", mark_steps=[3.0, 806.0]), 800.0).code == "too_few"
