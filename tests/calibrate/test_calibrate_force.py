"""Force calibration: a cell of known truth is found within its uncertainty, and bad readings are refused."""

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from midspan.base.errors import CellSignError, ConversionError, ReadingsError
from midspan.calibrate.cell_behaviour import Behaviour
from midspan.calibrate.force import Load, calibrate_force
from midspan.calibrate.force_class import (
    ISO_376,
    ISO_7500_1,
    UNTRIED,
    best_class,
    class_remarks,
    creep_limit,
    intervals_held,
    largest_error,
    late_creep_limit,
    not_measured,
)  # fmt: skip
from midspan.calibrate.readings_table import readings_of
from midspan.hand_bench.gravity import typed_gravity
from midspan.hand_bench.masses import Air, Mass
from refusals import place_in
from scipy import stats

G = 9.8066
PER_G = 1070.0
MASSES = (0.0, 200.0, 400.0, 600.0, 800.0, 1000.0)
VACUUM = Load(typed_gravity(G, 0.0), Air(0.0, 0.0), (), 1e-4)


def table(rounds=3, masses=MASSES, noise=10.0, seed=1, square=0.0, lag=0.0, drift=0.0, creep=None, wrong=()):
    """Return readings of a cell with PER_G counts per gram; `lag` is the excess on the way down at half load."""
    rng = np.random.default_rng(seed)
    columns = {name: [] for name in ("round", "direction", "mass_g", "count", "time_s")}

    def add(number, way, mass, time_s=0.0, extra=0.0):
        count = 50_000 + PER_G * mass * (1 + square * mass / 1000) + extra + rng.normal(0, noise)
        for name, value in zip(
            columns, (number, way, mass, count + drift * len(columns["count"]), time_s), strict=True
        ):
            columns[name].append(value)

    for number in range(1, rounds + 1):
        for mass in masses:
            add(number, "up", mass)
        for mass in masses[-2::-1]:
            add(number, "down", mass, extra=lag * np.sin(np.pi * mass / masses[-1]))
    for time_s, extra in creep or ():
        add(rounds, "hold", masses[-1], time_s, extra)
    for column, i, change in wrong:
        columns[column][i] = change(columns[column][i])
    return readings_of("force.csv", **columns)


def newton_per_count(section, count=PER_G * 880):
    """Return force per count at a count, by the section's polynomial."""
    return section["newton_per_count"] + section["newton_per_count2"] * count


def test_the_truth_comes_back_within_its_uncertainty():
    found = calibrate_force(table(), VACUUM)
    truth = G / 1000 / PER_G * (1 - 1.2 / 8000) / (1 - 1.2 / 7950)
    assert found.section["newton_per_count"] == pytest.approx(truth, rel=1e-5)
    assert found.section["newton_per_count2"] == 0
    u_readings, dof = found.budget["readings"]
    assert abs(found.section["newton_per_count"] / truth - 1) < 4 * u_readings
    assert dof == 2  # three rounds, each put on anew


@pytest.mark.slow
@pytest.mark.parametrize("between", [0.0, 1e-5, 1e-4])
@pytest.mark.parametrize("rounds", [3, 5])
def test_the_interval_of_the_readings_covers_the_scale(rounds, between):
    """30 counts a reading move the scale of a round by 2e-5; rounds differ by less, by half of it, by more."""
    rng = np.random.default_rng(rounds)
    truth = G / 1000 / PER_G * (1 - 1.2 / 8000) / (1 - 1.2 / 7950)
    pulls = []
    for seed in range(400):
        plain = table(seed=seed, noise=30.0, rounds=rounds)
        scale = 1 + between * rng.standard_normal(rounds)[plain["round"].astype(int) - 1]
        counts = 50_000 + (plain["count"] - 50_000) * scale
        found = calibrate_force(replace(plain, numbers=plain.numbers | {"count": counts}), VACUUM)
        (u, dof), off = found.budget["readings"], found.section["newton_per_count"] / truth - 1
        pulls.append(abs(off) / (u * stats.t.ppf(0.975, dof)))
    # JCGM 100:2008, 4.2.3 and G.3: the t interval of independent means. Of 400, 95 % are 380 with a deviation of 4.4.
    assert 0.95 - 3 * 0.011 <= np.mean(np.array(pulls) <= 1) <= 0.95 + 3 * 0.011


def test_a_bent_cell_gets_a_second_order_and_the_right_force():
    found = calibrate_force(table(square=2e-3), VACUUM)
    count = PER_G * 880 * (1 + 2e-3 * 0.88)
    force = count * newton_per_count(found.section, count)
    assert found.section["newton_per_count2"] != 0
    assert force == pytest.approx(0.88 * G, rel=2e-5)
    assert "misfit" not in codes(found)


def test_causes_add_up_by_their_squares():
    found = calibrate_force(table(), Load(typed_gravity(G, 0.002), Air(1.2, 0.05), (), 3e-4))
    parts = [found.budget[name][0] for name in ("readings", "masses", "gravity", "buoyancy")]
    assert found.section["u_scale"] == pytest.approx(np.sqrt(np.sum(np.square(parts))))
    assert found.budget["masses"][0] == pytest.approx(3e-4, rel=1e-6)
    assert found.budget["gravity"][0] == pytest.approx(0.002 / G)


def test_certificates_of_a_set_are_used_for_stacked_loads():
    own = tuple(Mass(f"{nominal}", nominal * 1.0005, 0.01) for nominal in (200, 400, 1000))
    stacks = (0.0, 200.0, 400.0, 600.0, 1000.0)
    plain = calibrate_force(table(masses=stacks), VACUUM)
    found = calibrate_force(table(masses=stacks), replace(VACUUM, masses=own))
    ratio = found.section["newton_per_count"] / plain.section["newton_per_count"]
    assert ratio == pytest.approx(1.0005, rel=1e-6)
    # Each load counts by its rise, up and down; 600 g are two masses of a set, whose errors add.
    errors = 2 * (200 * 0.01 + 400 * 0.01 + 600 * 0.02) + 1000 * 0.01
    assert found.budget["masses"][0] == pytest.approx(errors / (2 * (200**2 + 400**2 + 600**2) + 1000**2), rel=1e-3)
    assert "800 g" in str(refusal(table(), replace(VACUUM, masses=own)))


def test_a_mass_that_is_never_put_on_changes_nothing():
    own = tuple(Mass(f"{nominal}", float(nominal), 0.1) for nominal in (200, 400, 1000))
    readings = table(masses=(0.0, 200.0, 400.0, 600.0, 1000.0))
    plain, other = (
        calibrate_force(readings, replace(VACUUM, masses=masses)) for masses in (own, (*own, Mass("5 kg", 5000.0, 0.0)))
    )
    assert other.budget == plain.budget
    assert [artefact["name"] for artefact in other.artefacts] == ["200", "400", "1000"]


def test_masses_of_different_certificates_do_not_share_their_errors():
    """Three loads of one mass each: of a set their errors add, else their squares; weights are the loads."""
    loads = np.array([200.0, 500.0, 1000.0])
    readings = table(masses=(0.0, *loads.tolist()))
    share = np.array([2, 2, 1]) * loads  # each but the largest is put on twice
    for certificates, together in ((("a", "a", "a"), share.sum()), (("a", "b", "c"), np.hypot.reduce(share))):
        own = tuple(
            Mass(f"{load:g}", load, 0.02, certificate=name) for load, name in zip(loads, certificates, strict=True)
        )
        found = calibrate_force(readings, replace(VACUUM, masses=own))
        assert found.budget["masses"][0] == pytest.approx(0.02 * together / (share @ loads), rel=1e-3)


@given(st.floats(0.5, 2.0))
@settings(max_examples=20)
def test_gravity_scales_the_force_and_nothing_else(factor):
    # the factor is squeezed into the range of gravity on this planet
    gravity = 9.8 * (1 + 0.003 * (factor - 1))
    first = calibrate_force(table(), replace(VACUUM, gravity=typed_gravity(9.8, 0.0))).section
    other = calibrate_force(table(), replace(VACUUM, gravity=typed_gravity(gravity, 0.0))).section
    assert other["newton_per_count"] / first["newton_per_count"] == pytest.approx(gravity / 9.8, rel=1e-9)
    assert other["u_scale"] == pytest.approx(first["u_scale"], rel=1e-9)


def test_the_zero_of_the_cell_does_not_matter():
    plain = table()
    lifted = replace(plain, numbers=plain.numbers | {"count": plain["count"] - 300_000})
    first, other = (calibrate_force(readings, VACUUM).section for readings in (plain, lifted))
    assert other == pytest.approx(first, rel=1e-9)


def test_a_zero_that_wanders_evenly_drops_out():
    assert calibrate_force(table(drift=20.0, noise=0.1), VACUUM).section["newton_per_count"] == pytest.approx(
        calibrate_force(table(noise=0.1), VACUUM).section["newton_per_count"], rel=1e-6
    )


def test_hysteresis_repeatability_zero_return_and_creep_are_found():
    hold = [(10.0, 0.0), (30.0, 0.0), (150.0, 300.0), (300.0, 600.0), (400.0, 700.0)]
    found = calibrate_force(table(lag=2000.0, noise=1.0, creep=hold), VACUUM)
    gap_n = 2000 * np.sin(np.pi * 0.4) * G / 1000 / PER_G
    assert found.figures["hysteresis_n"] == pytest.approx(gap_n, rel=0.01)
    assert found.figures["creep_pct"] == pytest.approx(100 * 600 / (1000 * PER_G), rel=0.02)
    assert found.figures["zero_return_pct"] < 0.001
    assert found.section["u_linearity_n"] >= gap_n / 2 / np.sqrt(3)


def codes(found):
    """Return the codes of the remarks of a result."""
    return {remark.code for remark in found.remarks}


def test_what_was_not_measured_is_remarked_on():
    up_only = table(rounds=1)
    keep = [i for i, way in enumerate(up_only.words["direction"]) if way == "up"]
    few = readings_of(
        "force.csv",
        direction=[up_only.words["direction"][i] for i in keep],
        **{name: values[keep].tolist() for name, values in up_only.numbers.items()},
    )
    always = {"order", "iso_376", "iso_7500_1", "r_60"}
    assert codes(calibrate_force(few, Load())) - always == {
        "no_hysteresis", "no_repeatability", "no_zero_return", "no_creep", "one_round", "no_certificate", "no_place",
    }  # fmt: skip
    own = tuple(Mass(f"{nominal}", float(nominal), 0.01) for nominal in (200, 400, 1000))
    full = table(masses=(0.0, 200.0, 400.0, 600.0, 1000.0))
    assert codes(calibrate_force(full, replace(VACUUM, masses=own))) - always == {"no_creep"}


def test_a_scale_that_moved_since_the_last_record_is_remarked_on():
    scale = calibrate_force(table(), VACUUM).section["newton_per_count"]
    assert "moved" not in codes(calibrate_force(table(), VACUUM, scale * 1.001))
    assert "moved" in codes(calibrate_force(table(), VACUUM, scale * 1.003))


def test_rounds_that_differ_count_as_rounds():
    plain = table(noise=5.0)
    shifted = plain["count"] + 0.001 * PER_G * plain["mass_g"] * (plain["round"] - 2)
    found = calibrate_force(replace(plain, numbers=plain.numbers | {"count": shifted}), VACUUM)
    assert found.budget["readings"][1] == 2  # three rounds, not 27 readings
    assert found.budget["readings"][0] == pytest.approx(1e-3 / np.sqrt(3), rel=0.05)


# Bad input


def refusal(readings, load=VACUUM, earlier=None):
    """Return the error with which readings are refused."""
    with pytest.raises(ReadingsError) as caught:
        calibrate_force(readings, load, earlier)
    assert "\n" not in str(caught.value)
    return caught.value


def scaled(factor):
    """Return good readings with all masses multiplied by a factor."""
    plain = table()
    return replace(plain, numbers=plain.numbers | {"mass_g": plain["mass_g"] * factor})


# Grams of the units: NIST SP 811 (2008), appendix B.8; the ounce is a sixteenth of the pound.
@pytest.mark.parametrize(
    ("grams", "unit"), [(1000.0, "kilograms"), (28.349523, "ounces"), (0.06479891, "grains"), (0.001, "milligrams")]
)
def test_masses_in_another_unit_are_recognised(grams, unit):
    error = refusal(scaled(1 / grams))
    assert (error.code, unit in str(error)) == ("another_unit", True)


@pytest.mark.parametrize(("grams", "unit"), [(1000.0, "kilograms"), (28.349523, "ounces"), (453.59237, "pounds")])
def test_one_mass_in_another_unit_is_recognised_and_its_line_named(grams, unit):
    error = refusal(table(wrong=[("mass_g", 3, lambda mass: mass / grams)]))
    assert (place_in(error), unit in str(error)) == (("force.csv", 5), True)


def test_one_load_in_kilograms_in_every_round_is_named_by_line_and_unit():
    plain = table()
    wrong = np.where(plain["mass_g"] == 600.0, 0.6, plain["mass_g"])
    error = refusal(replace(plain, numbers=plain.numbers | {"mass_g": wrong}))
    assert (place_in(error), "kilograms" in str(error)) == (("force.csv", 5), True)


def test_a_table_in_ounces_shows_against_the_last_record():
    # Heavy masses in ounces can pass for plausible grams; the last calibration tells.
    plain = table(masses=(0.0, 10_000.0, 20_000.0, 40_000.0))
    ounces = replace(plain, numbers=plain.numbers | {"mass_g": plain["mass_g"] / 28.349523})
    assert "ounces" in str(refusal(ounces, earlier=G / 1000 / PER_G))


def test_a_missed_reading_of_a_round_is_named():
    plain = table()
    keep = [i for i in range(len(plain.lines)) if i != 13]
    error = refusal(
        readings_of(
            "force.csv",
            direction=[plain.words["direction"][i] for i in keep],
            **{name: values[keep].tolist() for name, values in plain.numbers.items()},
        )
    )
    assert re.findall(r"\d+|up\b|down\b", str(error)) == ["2", "400", "up"]


def test_swapped_columns_are_recognised():
    plain = table()
    swapped = {"mass_g": plain["count"], "count": plain["mass_g"]}
    assert refusal(replace(plain, numbers=plain.numbers | swapped)).code == "swapped"


def test_a_count_that_falls_under_load_leaves_the_cause_open():
    plain = table()
    with pytest.raises(CellSignError) as caught:
        calibrate_force(replace(plain, numbers=plain.numbers | {"count": -plain["count"]}), Load())
    assert caught.value.cause is None  # swapped wires, or masses that pulled the head


def test_a_round_without_a_zero():
    plain = table()
    masses = np.where((plain["round"] == 2) & (plain["mass_g"] == 0), 200.0, plain["mass_g"])
    assert "round 2" in str(refusal(replace(plain, numbers=plain.numbers | {"mass_g": masses})))


def test_too_few_loads():
    assert refusal(table(masses=(0.0, 1000.0))).code == "few_loads"


def test_masses_that_do_not_reach_the_working_load():
    error = refusal(table(masses=(0.0, 100.0, 200.0, 300.0)))
    assert (error.code, "300" in str(error), "880" in str(error)) == ("out_of_reach", True, True)


# Classes of the force standards


def test_the_worked_examples_of_oiml_r_60():
    # OIML R 60-1:2021, 5.5.1: a C3 cell (3000 intervals) with p = 0.7 may creep 0.735 v in 30 min, 0.1575 v between
    # 20 and 30 min.
    assert creep_limit(3000) == pytest.approx(0.735)
    assert late_creep_limit(3000) == pytest.approx(0.1575)


@pytest.mark.parametrize(("load", "error"), [(500, 0.35), (501, 0.7), (2000, 0.7), (2001, 1.05), (10_000, 1.05)])
def test_the_steps_of_class_c(load, error):
    # OIML R 60-1:2021, table 4, times 0.7
    assert largest_error(load) == pytest.approx(error)


def test_beyond_class_c():
    with pytest.raises(ConversionError) as caught:
        largest_error(10_001)
    assert re.findall(r"\d+", str(caught.value)) == ["10001", "10000"]


@pytest.mark.parametrize(("creep_pct", "intervals"), [(0.0245, 3000), (0.2, 0), (0.0, 10_000)])
def test_intervals_that_a_creep_leaves(creep_pct, intervals):
    # 0.0245 % of the capacity is what a C3 cell may creep (0.735 of 3000)
    assert intervals_held(creep_pct) == intervals


FIGURES = Behaviour(0.01, 0.1, 0.04, 0.03, 0.4, 0.02, 0.03)


def test_classes_by_limits_from_memory():
    assert best_class(FIGURES, ISO_376) == "0.5"
    assert best_class(FIGURES, ISO_7500_1) == "0.5"
    assert best_class(replace(FIGURES, repeatability_pct=0.3), ISO_376) is None
    assert best_class(replace(FIGURES, creep_pct=0.15), ISO_376) == "2"


def test_a_class_names_what_was_not_measured():
    found = replace(FIGURES, creep_pct=None, zero_return_pct=None)
    assert not_measured(found, ISO_376) == ["zero_return_pct", "creep_pct"]
    assert not_measured(found, ISO_7500_1) == ["zero_return_pct"]
    assert not_measured(FIGURES, ISO_376) == []
    assert [remark.code for remark in class_remarks(found)] == ["iso_376", "iso_7500_1", "r_60"]


def test_the_best_figures_make_no_class_without_the_tests_that_masses_cannot_make():
    # ISO 376:2011, table 2: reproducibility, resolution and the calibration force have limits of their own.
    told = {remark.code: remark.words for remark in class_remarks(FIGURES)}
    for code, tests in UNTRIED.items():
        assert [test for test in tests if test not in told[code]] == []
