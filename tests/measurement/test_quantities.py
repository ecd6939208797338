"""Each quantity of a result and its uncertainty against closed forms and against evaluations with one thing changed."""

import math
from dataclasses import replace
from types import SimpleNamespace

import GTC
import numpy as np
import pytest
from midspan.archive.raw_run import Phase
from midspan.measurement.calibrated_columns import DEPTHS
from midspan.measurement.quantities import evenness
from midspan.measurement.result import evaluate
from synthetic import LOAD_N, Gauge, Shaft, load_for, paper_calibration, ratio_for, raw_run

# Scales that are badly known, so that their parts in the uncertainties stand out of the noise.
BAD = {"force": {"u_scale": 0.02, "dof_scale": 6.0}}
EXACT = {
    "force": {"u_scale": 0.0, "u_linearity_n": 0.0},
    "travel": {"u_scale": 0.0, "u_screw_mm": 0.0},
    "frame": {"u_give_mm_per_n": 0.0},
    "span": {"u_span_mm": 0.0},
}
UNEVEN = Shaft(spread_thou=6.0, stiff_side_deg=10.0, bow_mm=0.12, bow_deg=200.0, hysteresis=0.01)


def measured(shaft=UNEVEN, gauge=None, seed=1, **cycle):
    return raw_run(shaft, gauge or Gauge(), np.random.default_rng(seed), **cycle)


def result_of(run, **sections):
    (outcome,) = evaluate([run], paper_calibration(**sections))
    return outcome


def dof_by_gtc(*parts):
    """Return effective degrees of freedom by the GUM Tree Calculator."""
    return GTC.dof(sum(GTC.ureal(0.0, u, math.inf if dof is None else dof) for u, dof in parts))


# Evenness


@pytest.mark.parametrize(
    ("value", "u"), [("spread_thou", "u_spread_thou"), ("four_reading_thou", "u_four_reading_thou")]
)
def test_an_error_of_the_spine_s_scale_stretches_what_varies_around_it(value, u):
    run = measured()
    bad, exact = result_of(run, **EXACT | BAD), result_of(run, **EXACT)
    assert getattr(bad, value) == getattr(exact, value) > 1.0
    shares = [result.u_spine_thou / result.spine_thou * getattr(result, value) for result in (bad, exact)]
    from_noise = [getattr(r, u) ** 2 - share**2 for r, share in zip((bad, exact), shares, strict=True)]
    assert from_noise[0] == pytest.approx(from_noise[1], rel=1e-6)
    assert 0 < from_noise[1] < 0.01 * shares[0] ** 2


def test_degrees_of_freedom_of_the_spread():
    bad = result_of(measured(), **EXACT | BAD)
    scale = bad.u_spine_thou / bad.spine_thou * bad.spread_thou
    noise = math.sqrt(bad.u_spread_thou**2 - scale**2)
    assert bad.dof_spread == pytest.approx(dof_by_gtc((noise, 320 - 7), (scale, bad.dof_spine)), rel=1e-6)


def test_the_spread_s_uncertainty_from_noise_is_that_of_two_opposite_readings_of_a_fit():
    # Order 2 alone: 2 (a cos + b sin) along the phase, so twice the standard uncertainty of a quadrature, which is
    # sigma sqrt(2/N) at each depth, carried by the slopes of the spine (handbook line: spine over 0.9 load).
    run = measured(replace(UNEVEN, bow_mm=0.0), Gauge(noise_n=0.01))
    result = result_of(run, **EXACT | {"span": {"u_span_mm": 0.0, "vertical_share": (0.5, 0.5)}})
    per_newton = 500.0 / (0.9 * LOAD_N) + 0.01 / 0.0254 / 0.9
    scale = result.u_spine_thou / result.spine_thou * result.spread_thou
    noise = math.sqrt(result.u_spread_thou**2 - scale**2)
    # Both visits to the light depth together have half the variance of the full depth.
    assert noise == pytest.approx(2 * 0.01 * math.sqrt(2 / 320) * per_newton * math.sqrt(1.5), rel=0.1)
    variance = np.reshape(result.curve_covariance, (7, 7)).diagonal()
    expected = 2 * math.sqrt(-2 * math.log(0.05)) * math.sqrt((variance[3] + variance[4]) / 2)  # 95 % of Rayleigh's
    assert result.spread_floor_thou == pytest.approx(expected, rel=1e-9)


def test_twice_the_amplitude_of_what_repeats_once_per_turn_stands_where_it_is_real():
    assert result_of(measured()).once_per_turn_thou == 0.0
    run = measured(Shaft(spread_thou=0.0, bow_mm=0.0))
    counts, full = run.counts.copy(), run.phase_slice(Phase.FULL)
    angle = 2 * np.pi * run.rotate_steps[full] / 802.4
    counts[full] += np.round(0.02 * np.cos(angle) / paper_calibration().force.newton_per_count).astype(int)
    found = result_of(replace(run, counts=counts))
    by_high = found.sensitivities[5]  # force linearity: thou per newton at the full depth
    assert found.once_per_turn_thou == pytest.approx(2 * 0.02 * abs(by_high), rel=0.03)


def test_a_side_is_named_where_the_spread_is_real_and_the_angle_established():
    # What is known of the period turns the far ends of the turning by its share of the degrees turned: five at most.
    noisy = [measured(Shaft(spread_thou=6.0, bow_mm=0.0), Gauge(noise_n=noise)) for noise in NOISES]
    even = [measured(Shaft(spread_thou=0.0, bow_mm=0.1), Gauge(noise_n=noise), seed=2) for noise in NOISES]
    seen = set()
    for run in noisy + even:
        turning = run.rotate_steps[run.phase_slice(Phase.LIGHT).start : run.phase_slice(Phase.ZERO_AFTER).start]
        result = result_of(run)
        ends_deg = np.ptp(turning) / 2 / (800 * (1 + result.slip_pct / 100)) * 360
        established = bool(result.u_slip_pct / 100 * ends_deg < 5.0)
        real = result.spread_thou > result.spread_floor_thou
        assert (result.stiff_side_deg is not None) is (result.u_stiff_side_deg is not None) is (established and real)
        seen.add((established, real))
    assert {(True, True), (False, True), (True, False)} <= seen


def test_the_angle_is_as_unsure_as_the_period_at_the_far_ends_of_the_turning():
    forces = SimpleNamespace(turns=SimpleNamespace(steps=np.array([[[-1600.0, 700.0], [100.0, 2005.0]]])))
    fit = SimpleNamespace(
        steps_per_turn=np.array([802.0]),
        u_relative_period=np.array([0.003]),
        used=np.array([[99, 99]]),
        readings_alike=1.0,
        coefficients_n=np.zeros((1, 2, 7)),
    )
    turn = SimpleNamespace(
        deflection_thou=np.array([[500.0, 0, 0, 3.0, 0, 0, 0]]), u_deflection=np.eye(7)[None] * 1e-4,
        deflection_changes=np.zeros((1, 0, 7)), dof_changes=np.zeros((1, 0)),
    )  # fmt: skip
    spine = SimpleNamespace(u=np.array([0.2]), dof=np.array([20.0]))
    assert evenness(turn, spine, fit, forces)["angle_u_deg"][0] == pytest.approx(2005 / 802 * 360 * 0.003)


NOISES = np.geomspace(0.005, 0.1, 12)


# Runout


def test_scales_of_the_travel_stretch_the_runout():
    run = measured()
    exact = result_of(run, **EXACT)
    scale = {**EXACT["travel"], "u_scale": 0.02, "dof_scale": 6.0}
    stretched = result_of(run, **EXACT | {"travel": scale})
    assert stretched.u_runout_mm**2 - exact.u_runout_mm**2 == pytest.approx((0.02 * exact.runout_mm) ** 2, rel=1e-6)
    assert stretched.dof_runout == pytest.approx(
        dof_by_gtc((exact.u_runout_mm, 313), (0.02 * exact.runout_mm, 6.0)), rel=1e-6
    )


def test_the_screw_s_error_between_the_depths_stretches_the_runout():
    run = measured()
    exact = result_of(run, **EXACT)
    wavy = result_of(run, **EXACT | {"travel": {**EXACT["travel"], "u_screw_mm": 0.05, "dof_screw": 9.0}})
    turns = exact.travel_mm / 0.0025 / 3200
    share = 0.05 * 2 * abs(math.sin(math.pi * turns)) / exact.travel_mm * exact.runout_mm
    assert share > 3 * exact.u_runout_mm
    assert wavy.u_runout_mm**2 - exact.u_runout_mm**2 == pytest.approx(share**2, rel=1e-6)
    assert wavy.dof_runout == pytest.approx(dof_by_gtc((exact.u_runout_mm, 313), (share, 9.0)), rel=1e-6)


@pytest.mark.parametrize(
    "sections", [{"force": {"u_scale": 0.02, "u_linearity_n": 0.0}}, {"frame": {"u_give_mm_per_n": 0.005}}]
)
def test_the_force_s_scale_and_the_give_cancel_in_the_runout(sections):
    run = measured()
    other = result_of(run, **EXACT | sections).u_runout_mm
    assert other == pytest.approx(result_of(run, **EXACT).u_runout_mm, rel=1e-12)


def test_runout_is_twice_the_bow_and_as_sure_as_noise_allows():
    result = result_of(measured(gauge=Gauge(noise_n=0.004)), **EXACT)
    assert result.runout_mm == pytest.approx(0.24, abs=0.002)
    # From the handbook line: the surface moves with the light depth's force by give and flexibility, and a little more
    # as the slope changes; both visits to that depth count.
    per_newton = 0.01 + 500 * 0.0254 / LOAD_N
    lever = 0.1 / 0.9 * per_newton
    u_quadrature = 0.004 * math.sqrt(2 / 320) * math.hypot((per_newton + lever) / math.sqrt(2), lever)
    assert result.u_runout_mm == pytest.approx(2 * u_quadrature, rel=0.15)


# Pounds


@pytest.mark.parametrize("spine_thou", [300.0, 1000.0])
def test_pounds_are_26_over_the_inches_that_the_exact_shaft_bends(spine_thou):
    # 2 lb on 26 in, by the law that synthetic.py integrates.
    result = result_of(measured(Shaft(spine_thou=spine_thou, spread_thou=0.0)))
    flexibility = load_for(spine_thou * 0.0254 / 711.2) / LOAD_N
    load_n = 2 * 0.45359237 * 9.80665
    inches = float(ratio_for(load_n * flexibility * (26 / 28) ** 2)) * 26
    # Nothing to 0.7 % of the bending at 28 in is shear, which goes as 1 / L^2; the host takes the middle.
    shears = (1 + 3.5e-3 * (28 / 26) ** 2) / (1 + 3.5e-3)
    assert result.older_lb == pytest.approx(26 / (inches * shears), rel=1e-4)


def test_pounds_on_another_span_are_the_same():
    gauge = Gauge(span_mm=650.0)
    there = result_of(measured(gauge=gauge), span={"span_mm": 650.0})
    # The shaft on paper does not shear; the host takes half of 0.7 % on the standard span, as 1 / L^2.
    shears = (1 + 3.5e-3 * (711.2 / 650) ** 2) / (1 + 3.5e-3)
    assert there.older_lb / shears == pytest.approx(result_of(measured()).older_lb, rel=3e-4)


# Hysteresis


def test_hysteresis_is_the_share_of_the_light_depth_s_force_that_is_missing():
    result = result_of(measured(replace(UNEVEN, hysteresis=0.03)))
    assert result.hysteresis_pct == pytest.approx(3.0, abs=0.1)


def test_noise_of_both_visits_is_in_the_hysteresis():
    result = result_of(measured(gauge=Gauge(noise_n=0.01)))
    zeros = 0.01 * math.sqrt(2 / 40) * (result_shares(measured())[1] - result_shares(measured())[0])
    expected = 100 * math.hypot(0.01 * math.sqrt(2 / 320), zeros) / result.light_load_n
    assert result.u_hysteresis_pct == pytest.approx(expected, rel=0.1)


def result_shares(run):
    """Return the share of the zero after in the zero of both visits to the light depth, by mean times."""
    time = {phase: run.tick_us[run.phase_slice(phase)].mean() for phase, _ in run.segments}
    start, end = time[Phase.ZERO_BEFORE], time[Phase.ZERO_AFTER]
    return [(time[phase] - start) / (end - start) for phase in (Phase.LIGHT, Phase.LIGHT_AGAIN)]


def test_zeros_of_the_two_visits_count_by_how_far_apart_they_are():
    # Noisy zeros and quiet turning: what a zero's error does to the difference of the visits, by moving it.
    run = measured(gauge=Gauge(noise_n=4e-5))
    rng, counts = np.random.default_rng(3), run.counts.copy()
    for phase in (Phase.ZERO_BEFORE, Phase.ZERO_AFTER):
        where = run.phase_slice(phase)
        noise = rng.normal(0, 4000, 40)
        counts[where] += np.round(noise - noise.mean()).astype(int)
    noisy = replace(run, counts=counts)
    result, per_count = result_of(noisy), paper_calibration().force.newton_per_count
    u, by = [], []
    for phase in (Phase.ZERO_BEFORE, Phase.ZERO_AFTER):
        where, moved = run.phase_slice(phase), counts.copy()
        u.append(counts[where].std(ddof=1) / math.sqrt(40) * per_count)
        moved[where] += 1000
        shifted = result_of(replace(run, counts=moved))
        missing_n = [r.hysteresis_pct / 100 * r.light_load_n for r in (shifted, result)]
        by.append((missing_n[0] - missing_n[1]) / (1000 * per_count))
    expected = 100 * math.hypot(u[0] * by[0], u[1] * by[1]) / result.light_load_n
    assert result.u_hysteresis_pct == pytest.approx(expected, rel=0.02)


def test_the_way_of_a_drifting_zero_counts_in_the_hysteresis_at_both_visits():
    # Anywhere between both zeros at either visit: two rectangles of half the drift, drift / sqrt(12) each.
    run = measured(gauge=Gauge(noise_n=4e-5))
    counts = run.counts.copy()
    counts[run.phase_slice(Phase.ZERO_AFTER)] += 20_000
    result = result_of(replace(run, counts=counts))
    expected = 100 * math.hypot(*[result.zero_drift_n / math.sqrt(12)] * 2) / result.light_load_n
    assert result.zero_drift_n == pytest.approx(20_000 * paper_calibration().force.newton_per_count, rel=1e-3)
    assert result.u_hysteresis_pct == pytest.approx(expected, rel=0.01)


# How the gauge did


def test_slip_is_against_the_roller_s_nominal_turn():
    result = result_of(measured(gauge=Gauge(slip=0.012)), rotation={"steps_per_turn": 806.0})
    assert result.slip_pct == pytest.approx(100 * (800 * 1.012 / 806 - 1), abs=0.01)
    assert 0 < result.u_slip_pct < 0.01


def test_scatter_while_turning_is_the_root_mean_square_of_the_depths():
    run = measured(gauge=Gauge(noise_n=0.002))
    counts, rng = run.counts.copy(), np.random.default_rng(2)
    more = {Phase.LIGHT: 0.0, Phase.FULL: 0.006, Phase.LIGHT_AGAIN: 0.003}
    for phase, noise_n in more.items():
        where = run.phase_slice(phase)
        counts[where] += np.round(rng.normal(0, noise_n * 1070 / 9.80665e-3, 320)).astype(int)
    expected = math.sqrt(np.mean([0.002**2 + noise_n**2 for noise_n in more.values()]))
    assert result_of(replace(run, counts=counts)).turn_scatter_n == pytest.approx(expected, rel=0.08)


def test_readings_used_and_left_out_are_those_of_all_depths():
    run = measured(gauge=Gauge(noise_n=0.002))
    counts = run.counts.copy()
    for number, phase in enumerate(DEPTHS, start=1):
        where = run.phase_slice(phase)
        counts[where.start + 7 * np.arange(1, number + 2)] += 200_000
    result = result_of(replace(run, counts=counts))
    assert (result.left_out, result.readings) == (2 + 3 + 4, 960 - 9)


@pytest.mark.slow
def test_a_result_keeps_what_its_spine_was_converted_from():
    run = measured()
    result = result_of(run, frame={"give_mm_per_n": 0.013}, span={"span_mm": 700.0, "vertical_share": (0.2, 0.6)})
    assert (result.give_mm_per_n, result.span_mm, result.vertical_share) == (0.013, 700.0, (0.2, 0.6))
    press = {phase: run.press_steps[run.phase_slice(phase)][0] for phase in DEPTHS}
    assert result.travel_mm == pytest.approx((press[Phase.FULL] - press[Phase.LIGHT]) * 0.0025)
    assert result.zero_shares == pytest.approx([result_shares(run)[0], _share(run, Phase.FULL)], rel=1e-9)
    assert result.load_n == pytest.approx(LOAD_N * 1.01, rel=0.01)
    assert result.light_load_n == pytest.approx(LOAD_N * 0.1, rel=0.01)


def _share(run, phase):
    time = {p: run.tick_us[run.phase_slice(p)].mean() for p, _ in run.segments}
    return (time[phase] - time[Phase.ZERO_BEFORE]) / (time[Phase.ZERO_AFTER] - time[Phase.ZERO_BEFORE])


def test_the_head_s_place_at_the_second_visit_has_no_say():
    run = measured()
    press = run.press_steps.copy()
    press[run.phase_slice(Phase.LIGHT_AGAIN)] += 123
    assert result_of(replace(run, press_steps=press)) == result_of(run)
