"""The hand bench: its conversion, its invariances and its uncertainty, against an independent simulation."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from hand_rig import EIGHT, TrueBench, bench_file, readings, result_of
from hypothesis import given, settings
from hypothesis import strategies as st
from midspan.base.errors import ReadingsError
from midspan.base.units import STANDARD
from midspan.hand_bench.bench import HandBench
from midspan.hand_bench.clock_fit import fit_around
from midspan.hand_bench.conversion import CAUSES, BenchLoad, off_centre_loss, sag_for
from midspan.measurement.spine_budget import shear_share
from places import DATA
from synthetic import LOAD_N, SPAN_MM, Shaft, ratio_for, spine_around

BEAMS = json.loads((DATA / "beams.json").read_text(encoding="utf-8"))
ROUND = np.radians(np.arange(360.0))


def believed(**changes):
    """Return the bench of a file with changed sections."""
    return HandBench.model_validate(bench_file(**changes))


@pytest.mark.slow
@pytest.mark.parametrize("case", BEAMS["tubes"]["cases"], ids=lambda case: case["name"])
def test_a_handbook_beam_under_a_small_load_gives_its_modulus_and_section(case) -> None:
    """Compare with P L^3 / 48 EI (Roark, table 8.1) under 60 g on 400 mm; the spine follows by the elastica."""
    inertia = math.pi / 64 * ((case["outer_in"] * 25.4) ** 4 - (case["inner_in"] * 25.4) ** 4)
    stiffness = case["young_mpa"] * inertia
    bench = believed(weight={"mass_g": 60.0}, span={"span_mm": 400.0})
    sag_mm = bench.load_n * 400.0**3 / (48 * stiffness)
    on_knives = replace(BenchLoad.of(bench), rolling_mm=0.0)
    spine = float(on_knives.thou(np.array(sag_mm)))
    assert spine == pytest.approx(SPAN_MM / 0.0254 * ratio_for(LOAD_N * SPAN_MM**2 / stiffness), rel=4e-6)


SHAFTS = st.builds(
    Shaft, spine_thou=st.floats(150, 1500), spread_thou=st.floats(0, 15), stiff_side_deg=st.floats(0, 179),
    bow_mm=st.floats(0, 0.3), bow_deg=st.floats(0, 359),
)  # fmt: skip


@pytest.mark.slow
@settings(max_examples=15)
@given(SHAFTS, st.floats(300, 1500), st.floats(550, 800), st.floats(1, 60), st.floats(0, 1))
def test_any_weight_and_span_give_the_same_standard_deflection(shaft, mass_g, span_mm, hook_g, force_n) -> None:
    if mass_g / 880 * (span_mm / SPAN_MM) ** 3 * shaft.spine_thou * 0.0254 > 0.08 * span_mm:
        mass_g = 300.0  # no bench bends a soft shaft that far
    truth = TrueBench(mass_g=mass_g, span_mm=span_mm, hook_g=hook_g, force_n=force_n)
    content = bench_file(
        weight={"mass_g": mass_g, "hook_g": hook_g}, span={"span_mm": span_mm}, indicator={"force_n": force_n}
    )
    result = result_of(readings(shaft, truth), content)
    around = spine_around(shaft, ROUND)
    assert result.spine_thou == pytest.approx(around.mean(), abs=2e-3)
    assert result.spread_thou == pytest.approx(np.ptp(around), abs=0.02)
    assert result.runout_mm == pytest.approx(2 * shaft.bow_mm, abs=1e-6)


@pytest.mark.slow
@pytest.mark.parametrize("unit", ["mm", "in", "thou"])
@pytest.mark.parametrize("when_lower", ["rises", "falls"])
def test_unit_and_direction_of_the_dial_change_nothing(unit, when_lower) -> None:
    mm = {"mm": 1.0, "in": 25.4, "thou": 0.0254}[unit]
    truth = TrueBench(unit_mm=mm, rises=when_lower == "rises", graduation=1e-7)
    content = bench_file(indicator={"unit": unit, "when_lower": when_lower, "graduation": 0.01 / mm})
    plain = result_of(readings())
    result = result_of(readings(bench=truth), content)
    for name in ("spine_thou", "u_spine_thou", "spread_thou", "stiff_side_deg", "runout_mm", "older_lb"):
        assert getattr(result, name) == pytest.approx(getattr(plain, name), rel=1e-5, abs=1e-5), name


@pytest.mark.slow
@given(st.randoms(use_true_random=False))
def test_order_of_the_readings_changes_nothing(random) -> None:
    typed = list(readings(bench=TrueBench(noise=0.004), rng=np.random.default_rng(2)))
    plain = result_of(typed)
    random.shuffle(typed)
    result = result_of(typed)
    assert result.spine_thou == pytest.approx(plain.spine_thou, abs=1e-9)
    assert result.u_spine_thou == pytest.approx(plain.u_spine_thou, abs=1e-9)
    assert result.spread_thou == pytest.approx(plain.spread_thou, abs=1e-9)


@pytest.mark.slow
@given(st.floats(0, 360))
def test_another_first_mark_moves_only_the_stiff_side(turn) -> None:
    shaft = Shaft()
    turned = replace(shaft, stiff_side_deg=shaft.stiff_side_deg + turn, bow_deg=shaft.bow_deg + turn)
    plain, other = (result_of(readings(each, angles=EIGHT)) for each in (shaft, turned))
    assert other.spine_thou == pytest.approx(plain.spine_thou, abs=1e-3)
    assert other.spread_thou == pytest.approx(plain.spread_thou, abs=0.01)
    moved = (other.stiff_side_deg - plain.stiff_side_deg - turn + 90) % 180 - 90
    assert moved == pytest.approx(0, abs=0.3)


@pytest.mark.slow
@given(st.floats(0, 180), st.floats(0, 360))
def test_numbering_the_marks_the_other_way_mirrors_the_stiff_side_and_changes_nothing_else(stiff_deg, bow_deg) -> None:
    shaft = Shaft(stiff_side_deg=stiff_deg, bow_deg=bow_deg)
    typed = readings(shaft, TrueBench(noise=0.002), np.random.default_rng(2))
    plain = result_of(typed)
    other = result_of(replace(reading, angle_deg=f"{-float(reading.angle_deg) % 360:g}") for reading in typed)
    assert (other.stiff_side_deg + plain.stiff_side_deg + 90) % 180 - 90 == pytest.approx(0, abs=1e-6)
    for name in ("spine_thou", "u_spine_thou", "spread_thou", "runout_mm", "hysteresis_pct"):
        assert getattr(other, name) == pytest.approx(getattr(plain, name), rel=1e-9), name


def test_the_stiff_side_is_where_the_shaft_is_stiff() -> None:
    result = result_of(readings(Shaft(stiff_side_deg=30.0)))
    assert result.stiff_side_deg == pytest.approx(30.0, abs=0.2)
    assert result.four_reading_thou == pytest.approx(6 * math.cos(math.radians(60)), abs=0.02)


def test_four_positions_give_the_mean_but_cannot_see_every_stiff_side() -> None:
    """Put the stiff side at 45 degrees to the four readings of ASTM F2031, where they cannot see it."""
    shaft = Shaft(spread_thou=12.0, stiff_side_deg=45.0)
    result = result_of(readings(shaft, TrueBench(noise=0.001), angles=(0, 90, 180, 270)))
    assert result.spine_thou == pytest.approx(500.0, abs=0.05)
    assert result.spread_thou < 0.3
    assert not result.sees_all
    assert result.stiff_side_deg is None


CHANGES = {
    "dial error": ({"dial": 1 + 1e-4}, lambda u: 12.7e-4),
    "dial force": ({"force_change_n": 1e-3}, lambda u: 1e-3),
    "mass": ({"mass_g": 880.1}, lambda u: 0.1),
    "gravity": ({"gravity": 9.80665 + 1e-3}, lambda u: 1e-3),
    "span": ({"span_mm": SPAN_MM + 0.05}, lambda u: 0.05),
    "give of supports": ({"give_mm_per_n": 1e-4}, lambda u: 1e-4),
    "sinking": ({"give_mm_per_n": 1e-4}, lambda u: 1e-4),
    "axial friction": ({"friction": 0.01}, lambda u: 0.01),
    "edge radius": ({"rolling_mm": 2.6}, lambda u: 0.1),
    "shaft radius": ({"rolling_mm": 2.6}, lambda u: 0.1),
    "creep": ({"crept": 1e-4}, lambda u: 1e-4),
    "temperature": ({"span_mm": SPAN_MM * (1 + 2.34e-5)}, lambda u: 1.0),
}


@pytest.mark.parametrize("cause", CHANGES)
def test_each_share_of_the_budget_is_the_change_its_cause_makes(cause) -> None:
    """Make a bench differ from its file: its error is the sensitivity times the change."""
    truth, by = CHANGES[cause]
    shaft = Shaft(spread_thou=0.0)
    content = bench_file(
        span={"expansion_per_k": 2.34e-5}, shafts={"diameter_mm": [4.0, 6.0], "u_sink_mm_per_n": 1e-4, "held_s": 100.0,
        "u_creep_per_decade": 1e-4}, supports={"u_edge_radius_mm": 0.1, "friction": 0.2},
    )  # fmt: skip
    plain, other = (result_of(readings(shaft, TrueBench(**each)), content) for each in ({}, truth))
    part = next(part for part in plain.budget.contributions if part.name == cause)
    assert abs(other.spine_thou - plain.spine_thou) == pytest.approx(abs(part.sensitivity) * by(part.u_input), rel=2e-3)
    assert part.u > 0


@pytest.mark.parametrize(
    ("offset_in", "loss"),
    [(0.01, 1.0204079e-6), (0.05, 2.5510041e-5), (0.1, 1.02038213e-4), (0.25, 6.37653419e-4), (0.5, 2.549393482e-3)],
)
def test_a_load_off_centre_loses_what_the_handbook_says(offset_in: float, loss: float) -> None:
    """Compare with P a^2 b^2 / 3 EI L on 28 in (AISC Manual, table 3-23, case 8), by exact arithmetic."""
    assert off_centre_loss(offset_in * 25.4, SPAN_MM) == pytest.approx(loss, rel=1e-7)


def test_a_square_law_error_counts_by_its_root_mean_square() -> None:
    """Take a bound that is rectangular: the mean square of a x^2 over -1 < x < 1 is a^2 / 5."""
    x = np.random.default_rng(6).uniform(-1, 1, 400_000)
    assert np.sqrt(((x**2) ** 2).mean()) == pytest.approx(1 / math.sqrt(5), rel=5e-3)
    result = result_of(readings(), bench_file(frame={"off_centre_mm": 5.0}, indicator={"tilt_deg": 2.0}))
    shares = {part.name: part.u for part in result.budget.contributions}
    assert shares["load off centre"] == pytest.approx(8 * (5 / SPAN_MM) ** 2 * 500 / math.sqrt(5), rel=1e-3)
    assert shares["dial tilt"] == pytest.approx((1 - math.cos(math.radians(2))) * 500 / math.sqrt(5), rel=2e-3)


def test_shear_matters_only_off_the_standard_span() -> None:
    """Measure at the standard load and span, where the number is the deflection itself, and elsewhere."""
    shares = [
        {part.name: part.u for part in result_of(readings(Shaft(), truth), content).budget.contributions}
        for truth, content in (
            (TrueBench(), bench_file()),
            (TrueBench(mass_g=500.0, span_mm=600.0), bench_file(weight={"mass_g": 500.0}, span={"span_mm": 600.0})),
        )
    ]
    assert shares[0]["shear"] < 1e-9
    assert shares[1]["shear"] == pytest.approx(shear_share(600.0, STANDARD) * 500, rel=1e-3)


def test_a_budget_adds_up_and_few_readings_raise_k() -> None:
    """Take two repeats at two positions: nearly all the uncertainty has 2 degrees of freedom (JCGM 100:2008, G.4)."""
    sharp = bench_file(
        weight={"u_mass_g": 0.0}, span={"u_span_mm": 0.0}, place={"u_gravity_m_s2": 0.0},
        indicator={"u_error_mm": 0.0, "u_force_change_n": 0.0, "graduation": 1e-6}, frame={"u_give_mm_per_n": 0.0},
    )  # fmt: skip
    typed = readings(bench=TrueBench(noise=0.02), rng=np.random.default_rng(3), angles=(0, 90))
    result = result_of(typed, sharp)
    parts = result.budget.contributions
    assert [part.name for part in parts] == [name for name, _ in CAUSES]
    assert math.fsum(part.u**2 for part in parts) == pytest.approx(result.u_spine_thou**2)
    assert result.budget.dof == pytest.approx(2, abs=0.1)
    assert result.budget.k() == pytest.approx(4.303, abs=1e-3)  # t table, 2 degrees of freedom


@pytest.mark.slow
def test_spread_is_not_claimed_below_the_noise_floor() -> None:
    """Measure even shafts: one in twenty exceeds the floor, however few readings show the noise."""
    rng = np.random.default_rng(9)
    named = sum(
        result_of(readings(Shaft(spread_thou=0.0), TrueBench(noise=0.01), rng)).stiff_side_deg is not None
        for _ in range(400)
    )
    assert 0.025 < named / 400 < 0.08


def test_a_fit_of_five_or_more_positions_is_that_of_least_squares() -> None:
    rng = np.random.default_rng(12)
    angle = np.repeat([0.0, 50.0, 120.0, 200.0, 290.0, 330.0], 3)
    values = 500 + 3 * np.cos(2 * np.radians(angle - 20)) + rng.normal(0, 0.2, len(angle))
    fit = fit_around(angle, values)
    columns = np.stack([np.ones_like(angle), np.cos(2 * np.radians(angle)), np.sin(2 * np.radians(angle))], axis=1)
    expected, *_ = np.linalg.lstsq(columns, values, rcond=None)
    assert fit.coefficients == pytest.approx(expected, rel=1e-10)
    residual = values - columns @ expected
    assert fit.covariance == pytest.approx(np.linalg.inv(columns.T @ columns) * (residual @ residual) / 15, rel=1e-9)
    assert (fit.dof, fit.positions, fit.sees_all) == (15, 6, True)


def test_a_misfit_between_positions_counts_by_positions_not_by_repeats() -> None:
    """Dent one position: fifty repeats do not make the misfit smaller, so its five degrees of freedom count."""
    angle = np.tile(EIGHT, 50)
    values = 500 + 5.0 * (angle == 90) + np.random.default_rng(1).normal(0, 0.1, len(angle))
    fit = fit_around(angle, values)
    assert fit.dof == 5
    assert fit.covariance[0, 0] ** 0.5 > 0.05
    assert fit.misfit_p < 1e-6


def test_sag_for_inverts_the_conversion() -> None:
    for spine in (150.0, 500.0, 1500.0):
        bench = believed(weight={"mass_g": 700.0, "hook_g": 20.0}, frame={"give_mm_per_n": 0.001})
        assert float(BenchLoad.of(bench).thou(np.array(sag_for(bench, spine)))) == pytest.approx(spine, rel=1e-12)


@pytest.mark.parametrize(
    ("angles", "repeats", "code"),
    [
        ((0.0,), 5, "positions"),
        ((0.0, 180.0), 5, "positions"),
        ((0.0, 30.0), 5, "positions"),
        ((0.0, 90.0), 1, "repeats"),
        ((0.0, 60.0, 120.0), 1, "repeats"),
    ],
)
def test_too_few_positions_or_repeats_are_refused(angles, repeats, code) -> None:
    with pytest.raises(ReadingsError) as caught:
        result_of(readings(angles=angles, repeats=repeats))
    assert caught.value.code == code


@pytest.mark.parametrize(("angles", "repeats"), [((0, 90), 2), ((0, 60, 120), 2), ((0, 90, 180, 270), 1), (EIGHT, 1)])
def test_the_fewest_positions_and_repeats_give_a_result(angles, repeats) -> None:
    result = result_of(readings(angles=angles, repeats=repeats, bench=TrueBench(noise=0.001)))
    assert result.spine_thou == pytest.approx(500.0, abs=0.3)


def test_what_was_not_read_is_not_measured() -> None:
    typed = [
        replace(reading, loaded=str(float(reading.loaded) - float(reading.unloaded)), unloaded="0")
        for reading in readings(again=False)
    ]
    result = result_of(typed)
    assert (result.runout_mm, result.hysteresis_pct) == (None, None)
    assert result.spine_thou == pytest.approx(500.0, abs=0.01)


def test_the_missing_return_is_in_percent_of_a_tenth_of_the_deflection() -> None:
    """Let 0.0127 mm of 12.7 mm not come back: 1 % of the deflection at a tenth of the load."""
    typed = [replace(each, unloaded_again=str(float(each.unloaded) + 0.0127)) for each in readings()]
    result = result_of(typed)
    assert result.hysteresis_pct == pytest.approx(1.0, rel=2e-3)
    assert result.u_hysteresis_pct == pytest.approx(0.01 / math.sqrt(6) / 1.27 * 100, rel=2e-2)
