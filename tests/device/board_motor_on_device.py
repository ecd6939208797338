"""The motors' driver on MicroPython, one check at a time; run by test_board.py."""

import machine
import pulses
import rp2
import wired
from chip import chip
from motor import Motor
from stepper import HALF, LEVELS, PAIRS, Stepper
from wired import segments

PIECE, RAMP = ((500, 4),) * 10, ((700, 3), (1000, 2), (2000, 1))  # 20 ms, then a brake


def motor(number=0, forward=1, noted=True):
    steps = rp2.StateMachine(number, rp2.asm_pio(sideset_init=2)(pulses.steps), 1000000, sideset_base=1)
    steps.rises_us = [] if noted else None
    pin = machine.Pin(20 + number, machine.Pin.OUT)
    return steps, pin, Motor(steps, number, pin, forward, rp2.DMA(), rp2.DMA(), rp2.DMA())


def play(stepper_motor, direction, piece, ramp=()):
    return stepper_motor.play(direction, segments(*piece), len(piece), segments(*ramp), len(ramp))


def gaps(steps):
    return [after - before for before, after in zip(steps.rises_us, steps.rises_us[1:])]


def wanted(*pairs):
    """Return the gaps between the pulses of pairs: a pair begins 3 us late."""
    made = []
    for period, count in pairs:
        made += [period + 3] + [period] * (count - 1)
    return made[1:]


def check_a_motor_counts_what_it_steps():
    steps, pin, stepper_motor = motor()
    assert (stepper_motor.position(), stepper_motor.moving(), stepper_motor.due()) == (0, False, True)
    assert play(stepper_motor, 1, ((100, 10), (50, 20)))
    assert pin.value() == 1
    assert stepper_motor.moving()
    chip.pass_us(500)
    assert 0 < stepper_motor.position() < 10
    chip.pass_us(10000)
    assert (stepper_motor.position(), stepper_motor.moving(), steps.pushed) == (30, False, 30)
    assert play(stepper_motor, -1, ((40, 50),))
    assert pin.value() == 0
    chip.pass_us(10000)
    assert (stepper_motor.position(), steps.pushed) == (-20, 80)


def check_a_motor_wired_the_other_way_round_counts_the_same():
    _, pin, stepper_motor = motor(forward=0)
    play(stepper_motor, 1, ((40, 5),))
    chip.pass_us(1000)
    assert (pin.value(), stepper_motor.position()) == (0, 5)


def check_the_ramp_follows_its_piece_and_the_motor_stands():
    steps, _, stepper_motor = motor()
    play(stepper_motor, 1, PIECE, RAMP)
    chip.pass_us(1000000)
    assert (stepper_motor.position(), stepper_motor.moving()) == (46, False)
    assert gaps(steps) == wanted(*PIECE, *RAMP)


def check_pieces_follow_each_other_without_a_gap():
    steps, _, stepper_motor = motor()
    fed = 0
    for us in range(0, 1000000, 1000):
        if fed < 20 and stepper_motor.due():
            assert play(stepper_motor, 1, PIECE, RAMP)
            fed += 1
        chip.pass_us(1000)
        assert stepper_motor.moving() == (stepper_motor.position() != 806)
        if us == 600000:
            assert not stepper_motor.moving()
    assert gaps(steps) == wanted(*PIECE * 20, *RAMP)
    assert stepper_motor.position() == steps.pushed == 806


def check_a_piece_comes_whole_or_not_at_all_whenever_it_comes():
    made, last_us = {}, 0
    for us in range(0, 26000, 90):
        chip.reset()
        steps, _, stepper_motor = motor()
        play(stepper_motor, -1, PIECE, RAMP)
        chip.pass_us(us)
        due, moving = stepper_motor.due(), stepper_motor.moving()
        taken = play(stepper_motor, -1, ((400, 7),) * 9, ((800, 5),))
        assert taken == due
        chip.pass_us(1000000)
        assert (stepper_motor.moving(), stepper_motor.position()) == (False, -steps.pushed)
        if taken and moving:
            last_us = us
        made[taken] = made.get(taken, 0) + 1
        pairs = PIECE + ((400, 7),) * 9 + ((800, 5),) if taken else PIECE + RAMP
        if moving:
            assert gaps(steps) == wanted(*pairs), us
    assert 10000 < last_us <= 14000 - 1000, "three pairs are read ahead, and a millisecond is kept for interrupts"
    assert made[True] > 100
    assert made[False] > 50


def check_one_piece_can_wait_and_not_two_nor_the_other_way():
    _, _, stepper_motor = motor()
    assert play(stepper_motor, 1, PIECE, RAMP)
    assert not play(stepper_motor, -1, PIECE, RAMP)
    assert play(stepper_motor, 1, PIECE, RAMP)
    assert not stepper_motor.due()
    assert not play(stepper_motor, 1, PIECE, RAMP)
    chip.pass_us(1000000)
    assert stepper_motor.position() == 86


def check_the_longest_piece_and_ramp_fit():
    steps, _, stepper_motor = motor()
    for _ in range(3):
        assert play(stepper_motor, 1, ((1000, 2),) * PAIRS, ((1500, 1),) * LEVELS)
        chip.pass_us(2000 * (PAIRS - 8))
    chip.pass_us(1000000)
    assert gaps(steps) == wanted(*((1000, 2),) * (3 * PAIRS), *((1500, 1),) * LEVELS)


def check_a_halt_is_exact_whenever_it_comes():
    for us in range(0, 30000, 87):
        chip.reset()
        steps, _, stepper_motor = motor()
        play(stepper_motor, -1, PIECE, RAMP)
        chip.pass_us(us // 3)
        play(stepper_motor, -1, PIECE, RAMP)
        chip.pass_us(us - us // 3)
        stepper_motor.halt()
        at = stepper_motor.position()
        assert at == -steps.pushed
        assert not stepper_motor.moving()
        chip.pass_us(10000)
        assert stepper_motor.position() == at, "went on after the halt"
        play(stepper_motor, 1, ((50, 9),))
        chip.pass_us(10000)
        assert stepper_motor.position() == at + 9, "what was left of the move before was played"
        stepper_motor.halt()
        assert stepper_motor.position() == at + 9


def follow(axis, us=1000):
    """Give the axis its turns of the loop until it stands."""
    turns = 0
    while axis.moving():
        chip.pass_us(us)
        axis.poll()
        turns += 1
        assert turns < 100000
    return turns


def check_years_of_turning_one_way_do_not_outgrow_the_count():
    _, _, stepper_motor = motor(noted=False)
    axis = Stepper(stepper_motor, 200000)
    stepper_motor._still[0] = HALF - 100  # as far as nights without a reset have brought it
    axis.set_origin()
    for done in (6000, 12000):
        axis.move(6000, 12000)
        follow(axis)
        assert (axis.position(), axis.moving()) == (done, False)
    assert stepper_motor.position() in (11900 + HALF, 11900 - HALF)
    assert axis.located(HALF - 200) == -100  # counted before the wrap, as the latch may have


def check_the_stepper_moves_the_real_motor_and_stops_it_on_the_way():
    _, _, stepper_motor = motor(noted=False)
    axis = Stepper(stepper_motor, 200000)
    axis.move(20000, 12000)
    for _ in range(900):
        chip.pass_us(1000)
        axis.poll()
    axis.stop()
    begun = axis.position()
    follow(axis)
    assert begun < axis.position() <= begun + 12000 * 12000 // 400000 + 1 + 12 * 6  # what was read ahead
    axis.move(-axis.position(), 12000)
    follow(axis)
    assert axis.position() == 0


def check_a_loop_that_hangs_at_any_turn_costs_no_step_and_at_most_50_ms_and_the_ramp():
    for hangs in range(0, 120, 3):
        chip.reset()
        steps, _, stepper_motor = motor()
        axis = Stepper(stepper_motor, 200000)
        axis.move(1200, 12000)
        for _ in range(hangs):
            chip.pass_us(1000)
            axis.poll()
        begun = axis.position()
        chip.pass_us(4000000)
        assert not stepper_motor.moving()
        assert axis.position() == steps.pushed <= min(1200, begun + 600 + 360)
        follow(axis)
        assert axis.position() == 1200
        ends = [0] + [at for at, gap in enumerate(gaps(steps)) if gap > 1000000] + [1199]
        for first, last in zip(ends, ends[1:]):
            for at in range(first + 1, last):  # v^2 = 2 a s from either end, half a level faster and a step to spare
                speed = 1000000 / gaps(steps)[at] - 12000 / 32
                assert speed * speed <= 400000 * (2 + min(at - first, last - at)), hangs


class Quiet:
    """DMA channel whose registers are plain attributes, so that only the driver itself can allocate."""

    def __init__(self, read=0, count=0):
        self.read, self.count = read, count


def check_going_on_allocates_nothing():
    import gc

    if not hasattr(gc, "mem_alloc"):
        return
    _, _, stepper_motor = motor()
    axis = Stepper(stepper_motor, 200000)
    axis.move(20000, 12000)
    stepper_motor._counter = Quiet(count=stepper_motor._counter.count - 100)
    stepper_motor._data = Quiet(count=2 * PAIRS)
    stepper_motor._lister = Quiet()
    axis.poll()
    gc.collect()
    before = gc.mem_alloc()
    for _ in range(20):
        stepper_motor._lister.read = stepper_motor._used[1] + 8
        axis.poll()
        stepper_motor.position()
    after = gc.mem_alloc()
    assert after == before, after - before
    assert stepper_motor._end > 4000


if __name__ == "__main__":
    wired.run(globals())
