"""Delay and loss of the converter's filter: closed forms, scipy's filters, and shafts turned behind a paper filter."""

import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from midspan.archive.raw_run import Phase
from midspan.archive.reader import read_archive
from midspan.measurement.calibration import Calibration, load_calibration
from midspan.measurement.converter_filter import (
    Filters,
    filtering,
    filters_of,
    is_filtered,
    left_of_wave,
    middle_steps,
)
from midspan.measurement.result import evaluate
from midspan.measurement.spine_monte_carlo import spine_trials
from scipy import signal
from synthetic import (
    KNIFE_EDGES,
    Gauge,
    Shaft,
    delay_and_width,
    filter_section,
    filtered_run,
    paper_calibration,
    raw_run,
)

DATA = Path(__file__).parents[1] / "data"
INTERVAL_S = 0.0125
FILTERS = {"average of 4": (4.0,), "average of 8": (8.0,), "third-order sinc": (2.0, 2.0, 2.0)}
MANY = 500  # taps to a conversion, so that the sum over taps is the integral
SILENT = Gauge(noise_n=1e-7)
SHAFT = Shaft(spread_thou=3.0, stiff_side_deg=40.0, bow_mm=0.15)


def taps(stages, to_a_conversion=MANY):
    """Return the taps of moving averages one after another, by numpy's convolution."""
    kernel = np.ones(1)
    for length in stages:
        number = round(length * to_a_conversion)
        kernel = np.convolve(kernel, np.ones(number) / number)
    return kernel


def response(kernel, cycles_a_tap):
    """Return scipy's gain and delay in taps of a filter at frequencies in cycles per tap."""
    angle = 2 * np.pi * np.asarray(cycles_a_tap)
    gain = np.abs(signal.freqz(kernel, worN=angle)[1])
    return gain, signal.group_delay((kernel, [1.0]), w=angle)[1]


@pytest.mark.parametrize("length", [4, 8])
def test_a_moving_average_leaves_what_scipy_finds(length):
    per_conversion = np.array([1e-4, 0.01, 1 / 160, 1 / 54, 2 / 44, 3 / 44])
    _, width = delay_and_width((length,))
    gain, delay = response(taps((length,)), per_conversion / MANY)
    assert left_of_wave(2 * np.pi * per_conversion * width) == pytest.approx(gain, rel=1e-6)
    assert delay / MANY == pytest.approx(np.full(6, length / 2), abs=1 / MANY)


@pytest.mark.parametrize("stages", FILTERS.values(), ids=FILTERS)
def test_delay_and_width_of_the_paper_filter_are_the_moments_of_its_taps(stages):
    kernel = taps(stages)
    at = np.arange(len(kernel)) / MANY
    mean = (kernel * at).sum()
    width = np.sqrt((kernel * (at - mean) ** 2).sum())
    assert (mean, width) == pytest.approx(delay_and_width(stages), abs=2 / MANY)


SHAPES = {
    **{name: taps(stages) for name, stages in FILTERS.items()},
    "four samples": np.ones(4) / 4,
    "two samples": np.ones(2) / 2,
    "fourth-order sinc": taps((1, 1, 1, 1)),
    "Gaussian": signal.windows.gaussian(6001, 400) / signal.windows.gaussian(6001, 400).sum(),
    "triangle": signal.windows.triang(999) / signal.windows.triang(999).sum(),
}


@pytest.mark.parametrize("kernel", SHAPES.values(), ids=SHAPES)
def test_any_shape_of_the_same_width_leaves_the_same_within_the_fourth_power(kernel):
    at = np.arange(len(kernel))
    width = np.sqrt((kernel * (at - (kernel * at).sum()) ** 2).sum())
    turned = np.array([0.05, 0.1, 0.2, 0.4, 0.66])  # 0.66 rad: an average of 8, twice a turn, 44 readings a turn
    gain, _ = response(kernel, turned / width / (2 * np.pi))
    # The Gaussian is the limit of many stages; at 0.66 rad its sixth power adds a tenth.
    assert (np.abs(gain / left_of_wave(turned) - 1) <= 1.1 * turned**4 / 20).all()


def test_the_share_that_is_left_has_a_floor():
    assert left_of_wave(np.array([1.0, 5.0, 40.0])).tolist() == pytest.approx([np.sin(3**0.5) / 3**0.5, 0.2, 0.2])


@pytest.mark.parametrize(
    ("firmware", "filtered"),
    [("1.0.0", True), ("2.11.3", True), ("0.9.0", False), ("none", False), ("1", False), ("", False), ("10.0", True)],
)
def test_without_a_calibrated_filter_the_firmware_decides(firmware, filtered):
    run = SimpleNamespace(firmware=firmware)
    assert is_filtered(run, paper_calibration()) is filtered
    assert is_filtered(run, paper_calibration(filter=filter_section((4.0,))))


def test_a_calibrated_filter_is_taken_in_microseconds_and_an_unknown_one_in_conversions():
    runs = [SimpleNamespace(interval_us=12_500), SimpleNamespace(interval_us=100_000)]
    section = {"delay_s": 0.025, "u_delay_s": 0.001, "width_s": 0.0144, "u_width_s": 0.0007, "dof_delay": 9.0}
    known, unknown = (filters_of(runs, paper_calibration(**given)) for given in ({"filter": section}, {}))
    assert (known.delay_us.tolist(), known.u_delay_us.tolist()) == ([25_000.0] * 2, [1000.0] * 2)
    assert (known.width_us.tolist(), known.u_width_us.tolist()) == ([14_400.0] * 2, [700.0] * 2)
    assert (known.dof_delay.tolist(), known.dof_width.tolist()) == ([9.0] * 2, [np.inf] * 2)
    assert unknown.delay_us.tolist() == [25_000.0, 200_000.0]
    # Rectangular, one conversion either way; JCGM 100:2008, 4.3.7.
    assert unknown.u_delay_us == pytest.approx(np.array([12_500, 100_000]) / np.sqrt(3))


@pytest.mark.parametrize("speed", [5, -5, 18, -18])
def test_the_position_is_that_of_the_middle_of_the_conversions(speed):
    steps = 1000 + speed * np.arange(30)
    run = replace(raw_run(SHAFT, SILENT, np.random.default_rng(1)), segments=((Phase.FULL, 30),), **columns(steps))
    found = middle_steps(run, 25_000.0)
    assert found[2:] == pytest.approx(steps[2:] - 2 * speed)
    assert found[:2].tolist() == [1000.0, 1000.0]  # the axis stood before


def columns(steps):
    """Return columns of a run with these positions at even times."""
    zeros = np.zeros(len(steps), int)
    return {
        "rotate_steps": steps, "tick_us": np.arange(len(steps)) * 12_500, "press_steps": zeros, "counts": zeros,
        "status": zeros.astype(np.int16),
    }  # fmt: skip


def test_a_reading_that_comes_late_belongs_to_the_place_where_the_shaft_then_was():
    steps, ticks = np.array([0, 5, 10, 20, 25]), np.array([0, 12_500, 25_000, 50_000, 62_500])
    values = columns(steps) | {"tick_us": ticks}
    run = replace(raw_run(SHAFT, SILENT, np.random.default_rng(1)), segments=((Phase.FULL, 5),), **values)
    assert middle_steps(run, 18_750.0)[3:] == pytest.approx([12.5, 17.5])


def positions(per_reading, number=100):
    """Return how the filter acts at a constant speed in steps a reading, with positions cut to whole steps."""
    steps = np.floor(7.3 + per_reading * np.arange(number)).astype(int)[None, None]
    ones = np.ones(1)
    filters = Filters(*(ones * 0.0 for _ in range(4)), ones, ones, ones * 12_500.0)
    ticks = (np.arange(number) * 12_500)[None, None]
    return filtering(filters, steps, ticks, np.ones_like(steps, bool), np.array([False]))


@pytest.mark.parametrize(
    ("per_reading", "steps_unknown"), [(5.0, 1.0), (-5.0, 1.0), (2.5, 0.5), (18.18, 0.05), (14.8131, 0.02)]
)
def test_positions_of_a_commensurate_speed_are_off_by_the_same_part_of_a_step(per_reading, steps_unknown):
    found = positions(per_reading)
    assert found.steps_per_us[0, 0] == pytest.approx(per_reading / 12_500, rel=1e-3)
    # A part of a step between bounds is rectangular; JCGM 100:2008, 4.3.7.
    assert found.u_depth_steps[0, 0] == pytest.approx(steps_unknown / np.sqrt(12), abs=0.03)


# Whole shafts behind the paper filter


def apart_deg(result, shaft):
    """Return the error of the stiff side, degrees."""
    return (result.stiff_side_deg - shaft.stiff_side_deg + 90) % 180 - 90


@pytest.mark.parametrize("per_turn", [160, 54, 44])
@pytest.mark.parametrize("stages", FILTERS.values(), ids=FILTERS)
def test_side_spread_and_runout_come_back_from_behind_a_filter(stages, per_turn):
    run = filtered_run(SHAFT, Gauge(noise_n=1e-4, stages=stages), np.random.default_rng(1), per_turn=per_turn)
    (blind,) = evaluate([run], paper_calibration(filter=filter_section(())))
    (found,) = evaluate([run], paper_calibration(filter=filter_section(stages)))
    delay, width = delay_and_width(stages)
    assert apart_deg(blind, SHAFT) == pytest.approx(delay * 360 / per_turn, abs=0.4)
    loss = np.sinc(np.sqrt(3) * 2 * 2 / per_turn * width)
    assert blind.spread_thou / SHAFT.spread_thou == pytest.approx(loss, abs=0.004)
    assert abs(apart_deg(found, SHAFT)) < 2 * found.u_stiff_side_deg < 1.0
    assert abs(found.spread_thou - SHAFT.spread_thou) < max(2 * found.u_spread_thou, 0.004)
    assert abs(found.runout_mm - 2 * SHAFT.bow_mm) < max(2 * found.u_runout_mm, 2e-4)
    assert found.spine_thou == pytest.approx(SHAFT.spine_thou, abs=0.01)
    assert found.spine_thou == pytest.approx(blind.spine_thou, abs=0.003)
    assert found.doubts == ()


def test_angle_0_is_the_first_reading_of_the_zero_even_if_the_shaft_turned_before_it():
    gauge = replace(SILENT, stages=(4.0,))
    run = filtered_run(SHAFT, gauge, np.random.default_rng(1), per_turn=54)
    seated = replace(
        run,
        segments=((int(Phase.SEATING), 10), *run.segments),
        tick_us=np.arange(len(run) + 10) * 12_500,
        **{
            name: np.concatenate([np.arange(10) * by + getattr(run, name)[0] - (100 if by else 0), getattr(run, name)])
            for name, by in (("rotate_steps", 10), ("press_steps", 0), ("counts", 0), ("status", 0))
        },
    )
    calibration = paper_calibration(filter=filter_section((4.0,)))
    plain, after = evaluate([run, seated], calibration)
    assert after.stiff_side_deg == pytest.approx(plain.stiff_side_deg, abs=1e-9)


def test_depths_at_different_speeds_agree_where_the_delay_is_known():
    run = filtered_run(SHAFT, replace(SILENT, stages=(4.0,)), np.random.default_rng(1), per_turn=160, fast=44)
    (found,) = evaluate([run], paper_calibration(filter=filter_section((4.0,))))
    (blind,) = evaluate([run], paper_calibration(filter=filter_section(())))
    assert abs(apart_deg(found, SHAFT)) < 2 * found.u_stiff_side_deg
    assert found.spread_thou == pytest.approx(SHAFT.spread_thou, abs=2 * found.u_spread_thou)
    assert found.once_per_turn_thou < 0.2
    # A delay that is not known turns the depths against each other, as a skid would: by four fifths of the way in it.
    assert found.skid_deg == 0.0
    assert blind.skid_deg == pytest.approx(2 * (360 / 44 - 360 / 160), rel=0.1)


def test_an_unknown_filter_of_new_firmware_is_within_its_uncertainty():
    cover = {"side": [], "spread": [], "runout": []}
    for stages in ((2.5,), (4.0,), (5.5,), (1.0, 1.0, 1.0, 1.0), (1.5, 1.5, 1.5), (2.0, 2.0)):
        run = filtered_run(SHAFT, replace(SILENT, stages=stages), np.random.default_rng(1), per_turn=44)
        (found,) = evaluate([run], paper_calibration())
        cover["side"].append(abs(apart_deg(found, SHAFT)) / found.u_stiff_side_deg)
        cover["spread"].append(abs(found.spread_thou - SHAFT.spread_thou) / found.u_spread_thou)
        cover["runout"].append(abs(found.runout_mm - 2 * SHAFT.bow_mm) / found.u_runout_mm)
    assert {name: max(off) < 2 for name, off in cover.items()} == dict.fromkeys(cover, True)


# The budget


def drawn(run, section, number=300, seed=3):
    """Return results of one run under filters drawn from the uncertainties of a section: a Monte Carlo twin."""
    rng = np.random.default_rng(seed)
    known = section | {"u_delay_s": 0.0, "u_width_s": 0.0}
    results = []
    for _ in range(number):
        off = {key: section[key] + rng.normal(0, section[f"u_{key}"]) for key in ("delay_s", "width_s")}
        results += evaluate([run], paper_calibration(filter=known | off))
    return {name: np.array([getattr(r, name) for r in results]) for name in ("stiff_side_deg", *QUANTITIES)}


QUANTITIES = ("spine_thou", "spread_thou", "runout_mm", "four_reading_thou")


@pytest.mark.parametrize("fast", [44, 52])
def test_trials_of_delay_and_width_scatter_as_the_budget_says(fast):
    run = filtered_run(SHAFT, replace(SILENT, stages=(4.0,)), np.random.default_rng(1), per_turn=44, fast=fast)
    section = filter_section((4.0,), u_delay_s=0.0006, u_width_s=0.001)
    (plain,) = evaluate([run], paper_calibration(filter=filter_section((4.0,))))
    (stated,) = evaluate([run], paper_calibration(filter=section))
    trials = drawn(run, section)
    for name in ("stiff_side_deg", "spread_thou", "runout_mm", "four_reading_thou"):
        share = np.sqrt(getattr(stated, f"u_{name}") ** 2 - getattr(plain, f"u_{name}") ** 2)
        assert trials[name].std(ddof=1) == pytest.approx(share, rel=0.2), name
    # The mean has no frequency: the spine does not depend on the filter.
    assert trials["spine_thou"].std() < 3e-4
    assert stated.u_spine_thou == pytest.approx(plain.u_spine_thou, rel=1e-4)


def test_few_degrees_of_freedom_of_the_width_reach_the_spread():
    run = filtered_run(SHAFT, replace(SILENT, stages=(4.0,)), np.random.default_rng(1), per_turn=44)
    wide = filter_section((4.0,), u_width_s=0.004)
    many, few = evaluate_each(run, wide, wide | {"dof_width": 3.0})
    assert 2.9 < few.dof_spread < 3.2 < many.dof_spread
    assert few.u_spread_thou == many.u_spread_thou


def evaluate_each(run, *sections):
    """Return the results of a run under calibrations that differ in their filter."""
    return [evaluate([run], paper_calibration(filter=section))[0] for section in sections]


@pytest.mark.slow
@pytest.mark.parametrize(("stages", "per_turn"), [((4.0,), 44), ((8.0,), 54), ((2.0, 2.0, 2.0), 160)])
def test_noise_that_the_filter_passes_is_within_the_uncertainty(stages, per_turn):
    rng = np.random.default_rng(5)
    gauge = Gauge(stages=stages, noise_passes=True)
    results = evaluate(
        [filtered_run(SHAFT, gauge, rng, per_turn=per_turn) for _ in range(300)],
        paper_calibration(filter=filter_section(stages)),
    )
    spread = np.array([r.spread_thou for r in results])
    scale = SHAFT.spread_thou / SHAFT.spine_thou * results[0].u_spine_thou
    stated = np.mean([np.sqrt(r.u_spread_thou**2 - scale**2) for r in results])
    # The share of a shape beyond the width is in the stated uncertainty and not in the scatter.
    assert 0.6 < spread.std(ddof=1) / stated < 1.1


def test_a_mark_is_located_to_one_more_step():
    gauge = replace(SILENT, stages=(4.0,))
    plain = filtered_run(SHAFT, gauge, np.random.default_rng(1), per_turn=54)
    marked = replace(plain, marks=np.array([0, 802, 1605, 2407]))
    without, with_mark = evaluate([plain, marked], paper_calibration(filter=filter_section((4.0,))))
    step_deg = 360 / 802.4
    more = with_mark.u_stiff_side_deg**2 - without.u_stiff_side_deg**2
    assert more == pytest.approx(step_deg**2 / 12, rel=0.1)


# What was before stays


def test_results_of_earlier_archives_stay_as_they_were():
    stored = json.loads((DATA / "unfiltered_results.json").read_text(encoding="utf-8"))
    # The simulated gauge of those days lay on knife edges, and its file says nothing of rims.
    content = load_calibration(DATA / "e0bd664" / "calibration.toml").model_dump()
    calibration = Calibration.model_validate(
        content | {name: content[name] | values for name, values in KNIFE_EDGES.items()}
    )
    for name, rows in stored["runs"].items():
        results = evaluate(list(read_archive(DATA / "e0bd664" / name)), calibration)
        for number, *values in rows:
            before = dict(zip(stored["columns"], values, strict=True))
            for name, value in before.items():
                found, u = getattr(results[number], name), before.get(f"u_{name}")
                # The phases of the second order now have their say in the period: results move by less than their u.
                assert found == (value if value is None else pytest.approx(value, rel=0.3, abs=0.5 * (u or 0)))


def test_runs_with_and_without_a_filter_do_not_change_each_other():
    rng = np.random.default_rng(1)
    old = [raw_run(replace(SHAFT, number=n), Gauge(), rng, turns=(1, 1, 1)) for n in range(2)]
    new = [filtered_run(replace(SHAFT, number=n), Gauge(stages=(4.0,)), rng, per_turn=54) for n in range(2)]
    middle = [filtered_run(SHAFT, Gauge(stages=(4.0,)), rng, per_turn=54, middle=20)]
    calibration = paper_calibration()
    mixed = [old[0], new[0], *middle, new[1], old[1]]
    assert evaluate(mixed, calibration) == [evaluate([run], calibration)[0] for run in mixed]


# A zero in the middle


def test_a_zero_in_the_middle_follows_a_cell_that_warms():
    shaft, calibration = replace(SHAFT, spread_thou=1.0), paper_calibration(filter=filter_section(()))
    straight, bent = (
        evaluate(
            [
                filtered_run(
                    shaft, replace(SILENT, warming_n=0.01), np.random.default_rng(1), per_turn=54, middle=middle
                )
            ],
            calibration,
        )[0]
        for middle in (0, 30)
    )
    assert abs(straight.spine_thou - shaft.spine_thou) > 0.1
    assert abs(bent.spine_thou - shaft.spine_thou) < 0.1
    assert abs(bent.spine_thou - shaft.spine_thou) < 2 * bent.u_spine_thou
    u = {part.name: part.u for part in bent.budget.contributions}
    assert u["zero drift"] > 0.03
    assert (len(straight.zero_shares), len(bent.zero_shares)) == (2, 4)


def test_the_weights_of_three_zeros_are_those_of_two_lines():
    run = filtered_run(SHAFT, Gauge(drift_n=0.02), np.random.default_rng(1), per_turn=54, middle=30)
    (found,) = evaluate([run], paper_calibration(filter=filter_section(())))
    at = {phase: run.tick_us[part][run.status[part] == 0].mean() for phase, part in run.places().items()}
    first = at[Phase.ZERO_BEFORE], at[Phase.ZERO_MIDDLE]
    before = [(first[1] - at[phase]) / (first[1] - first[0]) for phase in (Phase.LIGHT, Phase.FULL)]
    assert found.zero_shares == pytest.approx([0.0, 0.0, *before])


def test_trials_of_a_run_with_three_zeros_agree_with_its_budget():
    gauge = Gauge(drift_n=0.004, warming_n=0.004)
    run = filtered_run(SHAFT, gauge, np.random.default_rng(1), per_turn=54, middle=20)
    (found,) = evaluate([run], paper_calibration(filter=filter_section(())))
    assert spine_trials(found, 20_000).u == pytest.approx(found.u_spine_thou, rel=0.03)


def test_three_zeros_scatter_as_stated():
    rng = np.random.default_rng(4)
    gauge = Gauge(noise_n=0.004)
    runs = [filtered_run(SHAFT, gauge, rng, per_turn=54, middle=20) for _ in range(200)]
    results = evaluate(runs, paper_calibration(filter=filter_section(())))
    parts = ("scatter of the readings", "zero before", "zero after", "zero drift")
    stated = [sum(c.u**2 for c in r.budget.contributions if c.name in parts) for r in results]
    # The drift's share, from zeros that differ by noise alone, is on top.
    assert 0.7 < np.std([r.spine_thou for r in results], ddof=1) / np.sqrt(np.mean(stated)) < 1.1
    hysteresis = np.array([r.hysteresis_pct for r in results])
    assert 0.7 < hysteresis.std(ddof=1) / np.mean([r.u_hysteresis_pct for r in results]) < 1.1


def test_a_zero_in_the_middle_needs_its_readings():
    run = filtered_run(SHAFT, Gauge(), np.random.default_rng(1), per_turn=54, middle=4)
    (found,) = evaluate([run], paper_calibration(filter=filter_section(())))
    (reason,) = found.reasons
    assert {"4", "5", "ZERO_MIDDLE"} <= {word.strip(",") for word in reason.split()}


# Few readings


@pytest.mark.parametrize("per_turn", [44, 54])
def test_two_turns_of_few_readings_are_enough(per_turn):
    rng = np.random.default_rng(6)
    gauge = Gauge(stages=(4.0,), noise_passes=True)
    shafts = [
        replace(SHAFT, spine_thou=spine, bow_mm=bow, stiff_side_deg=rng.uniform(0, 180), bow_deg=rng.uniform(0, 360))
        for spine in (300.0, 500.0, 1000.0)
        for bow in (0.0, 0.2, 0.4)
        for _ in range(4)
    ]
    runs = [filtered_run(shaft, gauge, rng, per_turn=per_turn) for shaft in shafts]
    for run in runs:  # a spike in every hundred readings
        run.counts[rng.random(len(run)) < 0.01] += 200_000
    for result, shaft in zip(evaluate(runs, paper_calibration(filter=filter_section((4.0,)))), shafts, strict=True):
        assert result.doubts == ()
        assert abs(result.spine_thou - shaft.spine_thou) < 0.06
        assert abs(result.spread_thou - shaft.spread_thou) < 3 * result.u_spread_thou
        assert abs(apart_deg(result, shaft)) < 3 * result.u_stiff_side_deg


def test_fewest_readings_that_lie_unevenly_in_the_coarse_stage_are_fitted_by_all():
    """Seven readings a turn cannot tell order 3 from order 4, and every fourth of 28 is that."""
    run = filtered_run(SHAFT, replace(SILENT, stages=(1.0,), slip=0.0), np.random.default_rng(1), per_turn=28)
    (found,) = evaluate([run], paper_calibration(filter=filter_section((1.0,))))
    assert found.spread_thou == pytest.approx(SHAFT.spread_thou, abs=4 * found.u_spread_thou)
