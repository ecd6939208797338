"""Calibration of the converter's filter: shafts turned both ways behind paper filters of known delay and width."""

from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest
from midspan.base.errors import ConfigurationError, ReadingsError
from midspan.calibrate.calibration_file import calibration_text, remarks_on
from midspan.calibrate.filter import calibrate_filter
from midspan.calibrate.live_filter import two_speeds
from midspan.calibrate.readings_table import readings_of
from midspan.measurement.calibration import EXAMPLE, ConverterFilter
from refusals import place_in
from synthetic import Gauge, Shaft, delay_and_width, filter_table

INTERVAL_MS = 12.5
FILTERS = {"average of 4": (4.0,), "average of 8": (8.0,), "third-order sinc": (2.0, 2.0, 2.0), "none": ()}
A_TURN = ((44.3, 163.7), (163.7, 44.3))  # readings a turn that share out the step
BOWED = Shaft(bow_mm=0.25, spread_thou=3.0)
UNEVEN = Shaft(bow_mm=0.0, spread_thou=6.0)


def table(shaft=BOWED, stages=(4.0,), seed=1, a_turn=A_TURN, **truth):
    """Return columns of passes of a shaft behind a filter; the noise enters before it."""
    gauge = Gauge(stages=stages, noise_passes=bool(stages))
    return filter_table(shaft, gauge, np.random.default_rng(seed), a_turn=a_turn, **truth)


def found_in(columns, expected=800.0):
    return calibrate_filter(readings_of("filter.csv", **columns), expected)


def refused(columns, expected=800.0):
    """Return the error with which a table is refused."""
    with pytest.raises(ReadingsError) as caught:
        found_in(columns, expected)
    return caught.value


@pytest.mark.parametrize("shaft", [BOWED, UNEVEN], ids=["bowed", "uneven"])
@pytest.mark.parametrize("stages", FILTERS.values(), ids=FILTERS)
def test_delay_and_width_come_back_within_their_uncertainty(stages, shaft):
    found = found_in(table(shaft, stages))
    delay, width = (INTERVAL_MS * share for share in delay_and_width(stages))
    section = {key: 1e3 * value for key, value in found.section.items()}
    assert abs(section["delay_s"] - delay) < 2.5 * section["u_delay_s"] < 2.0
    assert abs(section["width_s"] - width) < 2.5 * section["u_width_s"] < (2.0 if stages else 8.0)
    assert ConverterFilter.model_validate(found.section).dof_delay >= 3
    assert [remark.code for remark in found.remarks] == []


@pytest.mark.parametrize("truth", [{"lost_deg": 3.0}, {"slip_back": 0.005}, {"lost_deg": -2.0, "slip_back": -0.004}])
def test_lost_motion_and_slip_on_the_way_back_are_not_taken_for_delay(truth):
    found = found_in(table(**truth))
    assert abs(found.section["delay_s"] - 0.025) < 2.5 * found.section["u_delay_s"] < 5e-4
    assert found.figures["lost_motion_deg"] == pytest.approx(truth.get("lost_deg", 0.0), abs=0.15)
    assert found.figures["slip_back_pct"] == pytest.approx(100 * truth.get("slip_back", 0.0), abs=0.02)


@pytest.mark.parametrize(
    ("truth", "code"),
    [({"lost_deg": 8.0}, "lost_motion"), ({"slip_back": 0.015}, "slip"), ({"skid_deg": 2.0}, "disagree")],
)
def test_what_turning_should_not_do_is_remarked_on(truth, code):
    found = found_in(table(**truth))
    assert [remark.code for remark in found.remarks] == [code]
    assert abs(found.section["delay_s"] - 0.025) < 2.5 * found.section["u_delay_s"]


def test_a_skid_leaves_few_degrees_of_freedom():
    sound, skids = (found_in(table(skid_deg=skid)).section for skid in (0.0, 2.0))
    assert skids["u_delay_s"] > 5 * sound["u_delay_s"]
    assert skids["dof_delay"] == skids["dof_width"] == 3.0 < 100 < sound["dof_delay"]


@pytest.mark.slow
@pytest.mark.parametrize("stages", [(4.0,), (2.0, 2.0, 2.0)])
def test_delay_and_width_scatter_as_stated(stages):
    delay, width = (INTERVAL_MS * 1e-3 * share for share in delay_and_width(stages))
    sections = [found_in(table(stages=stages, seed=seed)).section for seed in range(16)]
    for key, truth in (("delay_s", delay), ("width_s", width)):
        pulls = np.array([(section[key] - truth) / section[f"u_{key}"] for section in sections])
        assert 0.3 < np.sqrt((pulls**2).mean()) < 1.3, key
        assert (np.abs(pulls) < 3).all()


def test_spikes_move_nothing():
    columns = table()
    clean = found_in(columns).section
    for i in range(7, len(columns["count"]), 97):
        columns["count"][i] += 90_000
    spiked = found_in(columns).section
    assert spiked["delay_s"] == pytest.approx(clean["delay_s"], abs=clean["u_delay_s"])
    assert spiked["u_delay_s"] == pytest.approx(clean["u_delay_s"], rel=0.3)


def test_expected_steps_need_only_be_near_and_times_may_begin_anywhere():
    columns = table()
    plain = found_in(columns).section
    off = {**columns, "time_s": (np.array(columns["time_s"]) + 1000 * np.array(columns["pass"])).tolist()}
    assert found_in(off, expected=809.0).section == pytest.approx(plain, rel=2e-3)


def test_a_speed_that_always_meets_the_same_part_of_a_step_is_less_certain():
    # 5 and 20 steps in each conversion.
    exact = found_in(table(a_turn=((40, 160), (160, 40))))
    u, _ = exact.budget["delay_microstep_s"]
    # A step is unknown, rectangular, at the difference of the speeds (JCGM 100:2008, 4.3.7).
    assert u == pytest.approx(1 / np.sqrt(12) / (1600 - 400), rel=0.02)
    assert u > 5 * found_in(table()).budget["delay_microstep_s"][0]


# Refusals


def passes(columns, *numbers):
    """Return the columns with some passes only."""
    kept = np.isin(columns["pass"], numbers)
    return {name: np.array(values)[kept].tolist() for name, values in columns.items()}


@pytest.mark.parametrize(
    ("numbers", "code"), [((1, 3), "one_way"), ((1, 2), "one_speed"), ((1, 4), "one_speed"), ((3, 4, 5), "one_speed")]
)
def test_passes_that_leave_something_unknown(numbers, code):
    assert refused(passes(table(), *numbers)).code == code


def test_one_round_is_enough():
    assert abs(found_in(passes(table(), 1, 2, 3, 4)).section["delay_s"] - 0.025) < 5e-4


def test_a_pass_that_is_too_short_is_named_by_its_line():
    columns = table()
    short = [i for i, number in enumerate(columns["pass"]) if number != 2 or i % 4 == 0]
    error = refused({name: [values[i] for i in short] for name, values in columns.items()})
    assert (error.code, place_in(error)) == ("too_few", ("filter.csv", 2 + columns["pass"].index(2)))


def test_readings_in_a_ramp_are_named_by_their_line():
    columns = table()
    first = columns["pass"].index(3)
    columns["steps"][first] += 9
    error = refused(columns)
    assert (error.code, place_in(error)) == ("uneven", ("filter.csv", first + 2))


def test_times_must_rise_within_a_pass():
    columns = table()
    columns["time_s"][20] = columns["time_s"][19]
    error = refused(columns)
    assert (error.code, place_in(error)) == ("times", ("filter.csv", 22))


def test_a_straight_and_even_shaft_shows_nothing():
    assert refused(table(Shaft(bow_mm=0.0, spread_thou=0.0))).code == "no_pattern"


def test_words_that_come_before_their_force():
    columns = table()
    # Positions as they were five readings before, where the filter has a delay of two.
    for i, number in enumerate(columns["pass"]):
        way, a_turn = (1 if number % 2 else -1), A_TURN[0][0 if number in (1, 2, 7, 8) else 1]
        columns["steps"][i] -= way * round(5 * 800 / a_turn)
    assert refused(columns).code == "early"


# The gauge's speeds, and the file


def limits(most=8000, interval_us=12_500):
    return SimpleNamespace(rotate_speed_most=most, interval_us=interval_us)


def test_the_two_speeds_are_44_and_160_readings_a_turn_where_the_gauge_allows():
    fast, slow = two_speeds(800.0, limits())
    assert (fast, slow) == (pytest.approx(800 / 44 * 80, rel=0.1), pytest.approx(800 / 160 * 80, rel=0.1))
    fast, slow = two_speeds(800.0, limits(most=900))
    assert slow * 1.5 < fast <= 900


def test_a_gauge_that_turns_slowly_has_no_second_speed():
    with pytest.raises(ConfigurationError) as caught:
        two_speeds(800.0, limits(most=500))
    assert caught.value.code == "rotate_speed"


def record(kind, section):
    """Return a record as far as the file needs it."""
    return SimpleNamespace(
        kind=kind, id=f"{kind}-1", gauge="paper", temperature_c=20.0, made_on=date(2026, 3, 1),
        valid_until=date(2027, 3, 1), section=section, outcome={"remarks": []}, thermometer=None,
    )  # fmt: skip


def test_the_file_has_the_filter_if_there_is_a_record_of_it():
    whole = [record(kind, EXAMPLE[kind]) for kind in ("force", "travel", "frame", "span", "rotation")]
    made = record("filter", {"delay_s": 0.025, "u_delay_s": 1e-4, "width_s": 0.0144, "u_width_s": 3e-4})
    assert "[filter]" not in calibration_text(whole)
    assert "[filter]\ndelay_s = 0.025\n" in calibration_text([*whole, made])
    assert (len(remarks_on(whole)), len(remarks_on([*whole, made]))) == (1, 0)
