"""Calibrated columns against plain loops over the raw readings, one phase and one run at a time."""

from dataclasses import replace

import numpy as np
import pytest
from midspan.archive.raw_run import Phase
from midspan.measurement.calibrated_columns import (
    DEPTHS,
    PAD,
    ZEROS,
    calibrated,
    columns,
    padded_length,
    rotation,
    why_cut_short,
)
from synthetic import Gauge, Shaft, paper_calibration, raw_run

# A cell with a bent line and a screw with a periodic error, so that each must be applied.
CAL = paper_calibration(
    force={"newton_per_count": 9.0e-6, "newton_per_count2": 2.0e-14},
    travel={"screw_cos_mm": 0.004, "screw_sin_mm": -0.003},
    rotation={"u_relative": 0.02},
)
COLUMNS = ("tick_us", "rotate_steps", "press_steps", "counts", "status")


def drifting_run(seed=1, **cycle):
    """Return a run with a drifting zero, phases of uneven length and a few readings marked as unfit."""
    run = raw_run(Shaft(), Gauge(drift_n=0.03), np.random.default_rng(seed), turns=(2, 1, 3), **cycle)
    status = run.status.copy()
    status[::17] = 4
    # Times that are not even, and zeros of unequal length: 40 before, 31 after.
    keep = slice(0, len(run) - 9)
    tick_us = (np.arange(len(run)) * 12500 + 3 * np.arange(len(run)) ** 2)[keep]
    segments = (*run.segments[:-1], (Phase.ZERO_AFTER, 31))
    fields = {name: getattr(run, name)[keep] for name in COLUMNS}
    return replace(run, segments=segments, **fields | {"tick_us": tick_us, "status": status[keep]})


def converted(*runs, calibration=CAL):
    runs = list(runs)
    return calibrated(runs, columns(runs, ZEROS), columns(runs, DEPTHS), calibration)


def good(run, phase, name):
    """Return the values of a column in one phase without the readings marked as unfit."""
    where = run.phase_slice(phase)
    return getattr(run, name)[where][run.status[where] == 0].astype(float)


def zero_by_hand(run, phase):
    """Return mean count, mean time in us, standard deviation and number of a zero's good readings."""
    counts = good(run, phase, "counts")
    return counts.mean(), good(run, phase, "tick_us").mean(), counts.std(ddof=1), len(counts)


def test_forces_rise_above_a_zero_drawn_as_a_line_between_both_zeros():
    run = drifting_run()
    found = converted(run)
    (before, start_us, *_), (after, end_us, *_) = (zero_by_hand(run, phase) for phase in ZEROS)
    for depth, phase in enumerate(DEPTHS):
        tick_us, counts = good(run, phase, "tick_us"), good(run, phase, "counts")
        rise = counts - np.interp(tick_us, [start_us, end_us], [before, after])
        valid = found.turns.valid[0, depth]
        assert found.turns.force_n[0, depth, valid] == pytest.approx(9.0e-6 * rise + 2.0e-14 * rise**2, rel=1e-12)
        assert (found.turns.force_n[0, depth, ~valid] == 0).all()
        share = (tick_us.mean() - start_us) / (end_us - start_us)
        assert found.zero_share[0, depth] == pytest.approx(share, rel=1e-12)


def test_scatter_and_drift_of_the_zeros_in_newtons():
    run = drifting_run()
    found = converted(run)
    (before, _, sd_before, n_before), (after, _, sd_after, n_after) = (zero_by_hand(run, phase) for phase in ZEROS)
    # The slope of the cell's line at the highest reading of the full depth, where the force matters most.
    highest = good(run, Phase.FULL, "counts").max() - before
    newtons = 9.0e-6 + 2 * 2.0e-14 * highest
    assert found.zero_drift_n[0] == pytest.approx((after - before) * newtons, rel=1e-4)
    expected = [sd_before * newtons / np.sqrt(n_before), sd_after * newtons / np.sqrt(n_after)]
    assert found.u_zero_n[0] == pytest.approx(expected, rel=1e-4)
    assert found.dof_zero[0].tolist() == [n_before - 1, n_after - 1]
    pooled = np.sqrt((sd_before**2 + sd_after**2) / 2) * newtons
    assert found.rest_scatter_n[0] == pytest.approx(pooled, rel=1e-4)


def test_a_spike_at_rest_is_left_out_of_the_zero():
    run = drifting_run()
    counts = run.counts.copy()
    counts[3] += 10**6  # reading 3 is good: only every 17th is marked
    spiked, clean = converted(replace(run, counts=counts)), converted(run)
    rest = np.delete(good(run, Phase.ZERO_BEFORE, "counts"), 2)  # reading 0 is marked, so reading 3 is the third
    assert spiked.dof_zero[0].tolist() == [len(rest) - 1, clean.dof_zero[0, 1]]
    assert spiked.u_zero_n[0, 0] == pytest.approx(
        rest.std(ddof=1) / np.sqrt(len(rest)) * clean.u_zero_n[0, 1] / _u_counts(run, Phase.ZERO_AFTER), rel=1e-4
    )


def _u_counts(run, phase):
    _, _, scatter, number = zero_by_hand(run, phase)
    return scatter / np.sqrt(number)


def test_only_readings_beyond_five_robust_sigmas_are_left_out_of_a_zero():
    run = drifting_run()
    quiet = run.phase_slice(Phase.ZERO_BEFORE)
    counts = run.counts.copy()
    # Median 0, median distance 10, so sigma 14.826: 74 is within five of them, 75 is not.
    pattern = np.resize([0, 10, -10, 10, -10, 0, 10, -10], 40)
    for reach, lost in ((74, 0), (75, 1)):
        counts[quiet] = 84_000 + pattern
        counts[5] += reach - pattern[5]
        found = converted(replace(run, counts=counts, status=np.zeros(len(run), np.int16)))
        assert found.dof_zero[0, 0] == 39 - lost


def test_the_head_s_travel_knows_the_screw():
    run = drifting_run()
    press = np.array([good(run, phase, "press_steps")[0] for phase in DEPTHS])
    turn = 2 * np.pi * press / 3200
    expected = 0.0025 * press + 0.004 * np.cos(turn) - 0.003 * np.sin(turn)
    assert converted(run).head_mm[0] == pytest.approx(expected, rel=1e-12)


def test_angles_count_from_the_middle_of_the_turning_of_good_readings():
    run = drifting_run()
    found = converted(run)
    light = run.phase_slice(Phase.LIGHT)
    last = max(good(run, phase, "rotate_steps").max() for phase in DEPTHS)
    origin = (run.rotate_steps[light][0] + last) / 2
    assert found.steps_to_start[0] == pytest.approx(origin - run.rotate_steps[0], rel=1e-12)
    marked = converted(replace(run, marks=np.array([130, 932])))
    assert marked.steps_to_start[0] == pytest.approx(origin - 130, rel=1e-12)
    for depth, phase in enumerate(DEPTHS):
        valid = found.turns.valid[0, depth]
        assert found.turns.steps[0, depth, valid] == pytest.approx(good(run, phase, "rotate_steps") - origin)
        assert (found.turns.steps[0, depth, ~valid] == 0).all()


@pytest.mark.parametrize("bit", [1, 2, 4])
def test_readings_with_a_bit_that_makes_them_unfit_are_not_valid(bit):
    run = drifting_run()
    light = run.phase_slice(Phase.LIGHT)
    status = np.zeros(len(run), np.int16)
    status[light.start + 2] = bit
    status[light.start + 5] = 8  # a sample was missed before this reading, which is good itself
    found = columns([replace(run, status=status)], DEPTHS)
    number = light.stop - light.start
    assert np.flatnonzero(~found.valid[0, 0, :number]).tolist() == [2]
    assert not found.valid[0, 0, number:].any()


# The roller


def test_without_marks_the_roller_s_own_figures_stand():
    nominal, u_relative, start = rotation([drifting_run()], CAL)
    assert (nominal.tolist(), u_relative.tolist(), start.tolist()) == ([800.0], [0.02], [0.0])


def test_marks_give_the_period_to_two_steps_over_all_their_turns():
    run = replace(drifting_run(), marks=np.array([130, 932, 1736, 2540]))
    nominal, u_relative, start = rotation([run], CAL)
    assert nominal.tolist() == [pytest.approx((2540 - 130) / 3)]
    assert u_relative.tolist() == [pytest.approx(2 / (2540 - 130))]
    assert start.tolist() == [130.0]


@pytest.mark.parametrize("marks", [[130], [130, 932], [130, 130, 130]])
def test_marks_of_less_than_two_turns_only_say_where_angles_start(marks):
    nominal, u_relative, start = rotation([replace(drifting_run(), marks=np.array(marks))], CAL)
    assert (nominal.tolist(), u_relative.tolist(), start.tolist()) == ([800.0], [0.02], [130.0])


def test_three_marks_are_enough_for_a_period():
    nominal, u_relative, _ = rotation([replace(drifting_run(), marks=np.array([130, 932, 1736]))], CAL)
    assert nominal.tolist() == [803.0]
    assert u_relative.tolist() == [pytest.approx(2 / 1606)]


# Which runs go together, and which do not


def test_columns_of_several_runs_are_those_of_each():
    runs = [drifting_run(seed) for seed in (1, 2, 3)]
    together, each = columns(runs, DEPTHS), columns(runs[1:2], DEPTHS)
    for name in ("steps", "counts", "tick_us", "press", "valid"):
        values = np.where(together.valid, getattr(together, name), 0)
        assert np.array_equal(values[1:2], np.where(each.valid, getattr(each, name), 0)), name
        for depth, phase in enumerate(DEPTHS):
            where = runs[2].phase_slice(phase)
            column = {"steps": "rotate_steps", "press": "press_steps"}.get(name, name)
            if name != "valid":
                assert np.array_equal(
                    getattr(together, name)[2, depth, : where.stop - where.start], getattr(runs[2], column)[where]
                )


@pytest.mark.parametrize(("readings", "padded"), [(1, PAD), (PAD, PAD), (PAD + 1, 2 * PAD)])
def test_padding_goes_up_to_the_next_whole_multiple(readings, padded):
    run = replace(
        drifting_run(),
        segments=((Phase.FULL, readings),),
        **{name: np.zeros(readings, int) for name in ("tick_us", "rotate_steps", "press_steps", "counts")},
        status=np.zeros(readings, np.int16),
    )
    assert padded_length(run, DEPTHS) == padded


def test_padding_looks_at_the_named_phases_only():
    run = drifting_run()
    assert padded_length(run, ZEROS) == PAD
    assert padded_length(run, DEPTHS) == -(-max(n for _, n in run.segments) // PAD) * PAD > PAD


def with_good(run, phase, number):
    """Return the run with only a number of good readings in one phase."""
    status = np.zeros(len(run), np.int16)
    status[run.phase_slice(phase)] = 1
    status[run.phase_slice(phase).start :][:number] = 0
    return replace(run, status=status)


@pytest.mark.parametrize(("phase", "fewest"), [(Phase.FULL, 56), (Phase.ZERO_AFTER, 5)])
def test_the_fewest_good_readings_of_a_phase_are_enough_and_fewer_are_not(phase, fewest):
    phases = DEPTHS if phase in DEPTHS else ZEROS
    enough, few = (columns([with_good(drifting_run(), phase, n)], phases).why_unfit() for n in (fewest, fewest - 1))
    assert enough == {}
    ((row, (reason,)),) = few.items()
    assert row == 0
    assert {str(fewest), str(fewest - 1), phase.name} <= {word.strip(",") for word in reason.split()}


def test_every_reason_of_every_row_is_given():
    run, sound = drifting_run(), drifting_run()
    press = run.press_steps.copy()
    press[run.phase_slice(Phase.FULL).start + 9] -= 1
    bad = with_good(replace(run, press_steps=press), Phase.LIGHT, 12)
    unfit = columns([sound, bad, sound], DEPTHS).why_unfit()
    assert [(row, len(reasons)) for row, reasons in unfit.items()] == [(1, 2)]
    assert all(phase.name in reason for phase, reason in zip((Phase.LIGHT, Phase.FULL), unfit[1], strict=True))


@pytest.mark.parametrize(("step_us", "cut"), [(1, False), (0, True), (-1, True)])
def test_times_must_go_forward(step_us, cut):
    run = drifting_run()
    tick_us = run.tick_us.copy()
    tick_us[5:] += tick_us[4] + step_us - tick_us[5]
    assert bool(why_cut_short(replace(run, tick_us=tick_us))) is cut


def test_the_cause_of_a_cycle_cut_short_is_handed_on_even_where_it_says_it_is_complete():
    run = drifting_run()
    assert why_cut_short(run) == ()
    assert why_cut_short(replace(run, cause="JAM")) == ("JAM",)
    assert why_cut_short(replace(run, complete=False, cause="JAM")) == ("JAM",)
