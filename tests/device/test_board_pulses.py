"""The board's PIO programs, cycle by cycle: data-sheet times, words read back exactly, steps counted exactly.

Times of the parts are those of their makers' data sheets (HX711: first rising edge 0.1 us and more after the data pin
falls, clock high 0.2 to 50 us, low 0.2 us and more, off after 60 us, data valid 0.1 us after the rising edge; step
drivers: the slowest of the common ones wants pulses of 1.9 us and its direction 0.65 us before), in whole microseconds
here: a cycle of these programs is one.
"""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pulse_rig import (
    DIRECTION_US,
    FIRST_US,
    HIGH_US,
    LOW_US,
    OFF_US,
    STEP_PIN,
    STEP_US,
    Converter,
    assembler,
    edges,
    machine,
    motor,
    played,
    read,
    shadow,
    stepper,
    steps,
    streamed,
)

PAIRS = st.lists(st.tuples(st.integers(1, 8), st.integers(30, 90)), min_size=1, max_size=5)


def test_the_assembler_makes_published_programs() -> None:
    def squarewave():  # RP2040 data sheet 3.2.2 and the words pioasm makes of it
        set(pindirs, 1)  # noqa: F821
        label("again")  # noqa: F821
        set(pins, 1)[1]  # noqa: F821
        set(pins, 0)  # noqa: F821
        jmp("again")  # noqa: F821

    def leds():  # ws2812 of the same data sheet, 3.6.2, with side-set
        wrap_target()  # noqa: F821
        label("bitloop")  # noqa: F821
        out(x, 1).side(0)[2]  # noqa: F821
        jmp(not_x, "do_zero").side(1)[1]  # noqa: F821
        jmp("bitloop").side(1)[4]  # noqa: F821
        label("do_zero")  # noqa: F821
        nop().side(0)[4]  # noqa: F821
        wrap()  # noqa: F821

    assert assembler.Program().assemble(squarewave).words == [0xE081, 0xE101, 0xE000, 0x0001]
    made = assembler.Program(sideset_init=0).assemble(leds)
    assert (made.words, made.target, made.top) == ([0x6221, 0x1123, 0x1400, 0xA442], 0, 3)


# Steps


@pytest.mark.slow
@settings(max_examples=25)
@given(PAIRS, st.sampled_from([0, 0, 7, 400]))
def test_every_step_is_made_and_told_whatever_the_feeding_does(pairs: list[tuple[int, int]], late_us: int) -> None:
    _, found, reported = played(pairs, late_us)
    rises = [at for at, level in found if level]
    assert len(rises) == reported == sum(count for count, _ in pairs)
    assert [level for _, level in found] == [1, 0] * reported


@pytest.mark.slow
@settings(max_examples=25)
@given(PAIRS)
def test_pulses_are_long_enough_and_periods_exact(pairs: list[tuple[int, int]]) -> None:
    _, found, _ = played(pairs)
    assert found[0][0] >= DIRECTION_US + STEP_US  # from the feeding on, at which the direction is set already
    for (begun, level), (ended, _) in pairwise(found):
        assert ended - begun >= STEP_US
        assert not level or ended - begun == 2
    rises = [at for at, level in found if level]
    gaps = [after - before for before, after in pairwise(rises)]
    wanted: list[int] = []
    for count, period in pairs:
        wanted += [period] * count
    late = [gap - want for gap, want in zip(gaps, wanted[1:], strict=True)]
    starts = {sum(count for count, _ in pairs[:i]) - 1 for i in range(1, len(pairs))}
    assert all(wait == (3 if i in starts else 0) for i, wait in enumerate(late))  # 3 us to take the next pair


@pytest.mark.slow
def test_a_stop_at_any_cycle_counts_exactly() -> None:
    reported = set()
    for cycle in range(1, 190):
        run = stepper()
        run.put(2, 30 - 5, 0, 40 - 5)
        before = edges(run, STEP_PIN, cycle)
        rises = len([1 for _, level in before if level])
        assert rises == len(run.get())
        reported.add(rises)
        run.restart()
        run.put(3, 30 - 5)
        after = edges(run, STEP_PIN, run.state.clock + 150)
        assert len([1 for _, level in after if level]) == len(run.get()) == 4
    assert reported == {0, 1, 2, 3, 4}


def test_a_told_step_that_nobody_takes_waits_and_none_is_lost() -> None:
    run = stepper()
    run.put(9, 25)
    found = edges(run, STEP_PIN, 2000)
    assert len([1 for _, level in found if level]) == 5  # the queue holds four, the fifth is reported while it waits
    reported = len(run.get())
    for _ in range(3):
        found += edges(run, STEP_PIN, run.state.clock + 2000)
        reported += len(run.get())
    assert len([1 for _, level in found if level]) == reported == 10


def chained(pieces: list[list[tuple[int, int]]], ramp: list[tuple[int, int]]) -> tuple[list[int], list[int], int]:
    """Let the driver play pieces on the shadows; return the words that DMA read, the rising edges and the count."""
    shadow.chip.reset()
    shadow.chip.slice_us = 10
    state_machine = shadow.StateMachine(0, steps, 1000000, sideset_base=STEP_PIN)
    state_machine.rises_us = []
    channels = [shadow.DMA() for _ in range(3)]
    driver = motor.Motor(state_machine, 0, machine.Pin(3, machine.Pin.OUT), 1, *channels)
    given_words: list[int] = []
    give = channels[0].give
    channels[0].give = lambda: given_words.append(give()) or given_words[-1]
    for piece in pieces:
        while not driver.due():
            shadow.chip.pass_us(10)
        assert driver.play(1, flat(piece), len(piece), flat(ramp), len(ramp))
    shadow.chip.pass_us(10**5)
    assert not driver.moving()
    return given_words, state_machine.rises_us, driver.position()


def flat(pairs: list[tuple[int, int]]) -> list[int]:
    return [number for pair in pairs for number in pair]


PIECE = st.lists(st.tuples(st.integers(40, 90), st.integers(4, 8)), min_size=12, max_size=16)
RAMP = st.lists(st.tuples(st.integers(50, 200), st.integers(1, 3)), max_size=4)


@pytest.mark.slow
@settings(max_examples=15, deadline=None)
@given(st.lists(PIECE, min_size=1, max_size=3), RAMP)
def test_pieces_follow_each_other_within_3_us_on_the_program_as_on_its_shadow(
    pieces: list[list[tuple[int, int]]], ramp: list[tuple[int, int]]
) -> None:
    given_words, shadow_rises, position = chained(pieces, ramp)
    played_pairs = [pair for piece in pieces for pair in piece] + ramp
    assert given_words == [word for period, count in played_pairs for word in (count - 1, period - 5)]
    rises, told = streamed(given_words, sum((period + 3) * count for period, count in played_pairs) + 100)
    assert rises == shadow_rises
    assert len(rises) == told == position
    wanted = [period + 3 * (step == 0) for period, count in played_pairs for step in range(count)]
    assert [after - before for before, after in pairwise(rises)] == wanted[1:]


@pytest.mark.slow
def test_a_stop_at_any_cycle_of_a_stream_counts_exactly() -> None:
    words = [word for _ in range(4) for word in (1, 30 - 5, 0, 45 - 5)]
    counted = {}
    for cycle in range(1, 460):
        rises, told = streamed(words, cycle)
        assert len(rises) == told
        counted[cycle] = told
    assert sorted(set(counted.values())) == list(range(13))


# Words


@settings(max_examples=15)
@given(st.lists(st.integers(0, 2**24 - 1), min_size=1, max_size=4), st.sampled_from([25, 26, 27]))
def test_words_are_read_exactly_with_the_trailing_ones(given_words: list[int], pulses: int) -> None:
    converter = Converter(given_words)
    run, taken = read(converter, pulses, 1500 * len(given_words))
    ones = (1 << pulses - 24) - 1
    assert taken == [word << pulses - 24 | ones for word in given_words]
    assert converter.pulses == [pulses] * len(given_words)
    assert len(run.told_us) == len(given_words)


def test_the_clock_keeps_the_data_sheet_and_comes_nowhere_near_off() -> None:
    converter = Converter([0x5A5A5A, 0, 0xFFFFFF])
    read(converter, 27, 6000)
    assert min(converter.highs) >= HIGH_US[0]
    assert max(converter.highs) <= 3 < HIGH_US[1] < OFF_US
    assert min(converter.lows) >= LOW_US
    assert set(converter.highs) == {3}
    assert len(converter.firsts) == 3
    assert min(converter.firsts) >= FIRST_US
    assert set(converter.lows) == {2}


@pytest.mark.parametrize("ready_us", [0, 1, 2, 3, 777, 12499])
def test_a_word_is_read_at_once_when_it_is_ready(ready_us: int) -> None:
    run, taken = read(Converter([0x123456], lambda now_us: now_us >= ready_us), 25, ready_us + 1400)
    assert taken == [0x123456 << 1 | 1]
    assert 125 <= run.told_us[0] - ready_us <= 135  # 25 pulses of 5 us after it, always the same: no blur


@pytest.mark.slow
def test_a_pause_of_50_ms_loses_nothing_and_the_queue_keeps_the_oldest() -> None:
    period_us = 12500
    given_words = list(range(1, 7))
    converter = Converter(given_words)
    converter.ready = lambda now_us: now_us >= period_us * (converter.number + 1)
    run, _ = read(converter, 25, 4 * period_us + 1400, take=False)
    assert [word >> 1 for word in run.state.receive_fifo] == [1, 2, 3, 4]
    converter = Converter(given_words)
    converter.ready = lambda now_us: now_us >= period_us * (converter.number + 1)
    run, _ = read(converter, 25, 6 * period_us + 1400, take=False)
    assert [word >> 1 for word in run.state.receive_fifo] == [1, 2, 3, 4]
    assert max(converter.highs) == 3  # a full queue stops no clock


def test_a_data_pin_that_is_stuck_low_does_not_flood() -> None:
    run, taken = read(Converter([], stuck=0), 25, 20000)
    assert 10 <= len(run.told_us) <= 20  # at most one a millisecond
    assert set(taken) == {0}  # with a trailing bit that is wrong


def test_a_data_pin_that_is_stuck_high_is_silence() -> None:
    run, taken = read(Converter([], stuck=1), 25, 20000)
    assert (run.told_us, taken) == ([], [])
