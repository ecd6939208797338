"""The device's judgement of converter words: a single bad sample is a status, a lasting condition a fault."""

from __future__ import annotations

import pytest
from device_rig import load_cell, records
from hypothesis import given
from hypothesis import strategies as st

NOMINAL_US = 12500
GAP, SATURATED, OUT_OF_STEP = 8, 2, 4  # as in protocol/readings.avsc


def fed(words: list[int], in_step: list[int] | None = None, gaps: list[int] | None = None) -> load_cell.LoadCell:
    """Return a cell that took some words, a nominal interval apart unless `gaps` differs."""
    cell, tick = load_cell.LoadCell(NOMINAL_US, 0), 0
    for i, word in enumerate(words):
        tick += gaps[i] if gaps else NOMINAL_US
        cell.take(tick & 0x3FFFFFFF, word & 0xFFFFFF, in_step[i] if in_step else 1)
    return cell


def fault_of(cell: load_cell.LoadCell) -> str | None:
    return None if cell.fault is None else records.FAULT_CODES[cell.fault]


@given(st.integers(-(2**23), 2**23 - 1))
def test_words_are_twos_complement(count: int) -> None:
    assert fed([count]).count == count


@given(st.integers(0, 2**30 - 1), st.integers(-(2**29), 2**29 - 1))
def test_elapsed_time_goes_over_the_wrap(earlier: int, elapsed: int) -> None:
    assert load_cell.elapsed_us((earlier + elapsed) % 2**30, earlier) == elapsed


def test_a_live_cell_has_no_fault() -> None:
    cell = fed([1000 + i % 7 for i in range(500)])
    assert (fault_of(cell), cell.status) == (None, 0)


@pytest.mark.parametrize(("repeats", "fault"), [(19, None), (20, "CELL_STUCK")])
def test_the_same_count_twenty_times_is_stuck(repeats: int, fault: str | None) -> None:
    cell = fed([1, 2, 3] + repeats * [4])
    assert fault_of(cell) == fault
    assert cell.detail == (0 if fault is None else 4)


@pytest.mark.parametrize("end", [2**23 - 1, -(2**23)])
def test_saturation_is_a_status_then_a_fault(end: int) -> None:
    cell = fed([5, end])
    assert (fault_of(cell), cell.status) == (None, SATURATED)
    assert fault_of(fed([5, end, end, end])) is None
    cell = fed([5, end, end, end, end])
    assert (fault_of(cell), cell.detail) == ("CELL_SATURATED", end)
    assert fault_of(fed([end, end, end, 7, end, end, end])) is None


def test_out_of_step_is_a_status_then_a_fault() -> None:
    cell = fed([1, 2, 3], [1, 1, 0])
    assert (fault_of(cell), cell.status) == (None, OUT_OF_STEP)
    assert fault_of(fed([1, 2, 3, 4, 5], [0, 0, 1, 0, 0])) is None
    cell = fed([1, 2, 3, 4], [1, 0, 0, 0])
    assert (fault_of(cell), cell.detail) == ("CELL_OUT_OF_STEP", 3)


def test_a_lost_sample_shows_as_a_gap() -> None:
    assert fed([1, 2, 3], gaps=[12500, 12500, 25000]).status == GAP
    assert fed([1, 2, 3], gaps=[12500, 12500, 13000]).status == 0


@pytest.mark.parametrize("gap_us", [12500, 18700, 25000, 400000])
def test_the_time_before_a_program_says_nothing_about_its_first_sample(gap_us: int) -> None:
    cell = fed([1, 2, 3])
    cell.begin()
    for word, tick_us in ((4, 3 * NOMINAL_US + gap_us), (5, 4 * NOMINAL_US + gap_us)):
        cell.take(tick_us, word, 1)
        assert (cell.status, cell.gap_us, cell.interval_us()) == (0, NOMINAL_US, NOMINAL_US)
    cell.take(6 * NOMINAL_US + gap_us, 6, 1)
    assert (cell.status, cell.gap_us) == (GAP, 2 * NOMINAL_US)


def test_one_lost_sample_is_no_silence_two_are() -> None:
    cell = fed([1, 2])
    for late_us, fault in ((12500, None), (25000 + 60, None), (2.6 * 12500, "CELL_SILENT")):
        cell.watch(2 * NOMINAL_US + int(late_us))
        assert fault_of(cell) == fault
    assert cell.detail == 32500


def test_the_first_fault_stays_until_cleared() -> None:
    cell = fed(25 * [4])
    cell.watch(10**6)
    assert fault_of(cell) == "CELL_STUCK"
    cell.clear(10**6)
    assert fault_of(cell) is None
    cell.watch(10**6 + 12500)
    assert fault_of(cell) is None


@pytest.mark.slow
@given(st.integers(11800, 13200), st.lists(st.integers(-40, 40), min_size=100, max_size=200))
def test_the_interval_is_measured(true_us: int, jitter: list[int]) -> None:
    cell = fed([i % 5 for i in range(len(jitter))], gaps=[true_us + late for late in jitter])
    assert abs(cell.interval_us() - true_us) <= 40


def test_gaps_do_not_spoil_the_measured_interval() -> None:
    gaps = [12500 if i % 10 else 25000 for i in range(200)]
    assert abs(fed([i % 5 for i in range(200)], gaps=gaps).interval_us() - 12500) <= 2
