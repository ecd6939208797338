"""The motors' driver on MicroPython, one check at a time; run by test_board.py."""

import machine
import pulses
import rp2
import wired
from chip import chip
from motor import Motor
from stepper import HALF, Stepper
from wired import segments


def motor(number=0, forward=1):
    steps = rp2.StateMachine(number, rp2.asm_pio(sideset_init=2)(pulses.steps), 1000000, sideset_base=1)
    pin = machine.Pin(20 + number, machine.Pin.OUT)
    return steps, pin, Motor(steps, number, pin, forward, rp2.DMA(), rp2.DMA())


def check_a_motor_counts_what_it_steps():
    steps, pin, stepper_motor = motor()
    assert (stepper_motor.position(), stepper_motor.moving()) == (0, False)
    stepper_motor.feed(1, segments((100, 10), (50, 20)), 2)
    assert pin.value() == 1
    assert stepper_motor.moving()
    chip.pass_us(500)
    assert 0 < stepper_motor.position() < 10
    chip.pass_us(10000)
    assert (stepper_motor.position(), stepper_motor.moving(), steps.pushed) == (30, False, 30)
    stepper_motor.feed(-1, segments((40, 50)), 1)
    assert pin.value() == 0
    chip.pass_us(10000)
    assert (stepper_motor.position(), steps.pushed) == (-20, 80)


def check_a_motor_wired_the_other_way_round_counts_the_same():
    _, pin, stepper_motor = motor(forward=0)
    stepper_motor.feed(1, segments((40, 5)), 1)
    chip.pass_us(1000)
    assert (pin.value(), stepper_motor.position()) == (0, 5)


def check_a_halt_is_exact_whenever_it_comes():
    pairs = segments((60, 7), (40, 30), (60, 7))
    for us in range(0, 2400, 7):
        chip.reset()
        steps, _, stepper_motor = motor()
        stepper_motor.feed(-1, pairs, 3)
        chip.pass_us(us)
        stepper_motor.halt()
        at = stepper_motor.position()
        assert at == -steps.pushed
        assert not stepper_motor.moving()
        chip.pass_us(10000)
        assert stepper_motor.position() == at, "went on after the halt"
        stepper_motor.feed(1, segments((50, 9)), 1)
        chip.pass_us(10000)
        assert stepper_motor.position() == at + 9, "what was left of the move before was played"
        stepper_motor.halt()
        assert stepper_motor.position() == at + 9


def check_years_of_turning_one_way_do_not_outgrow_the_count():
    _, _, stepper_motor = motor()
    axis = Stepper(stepper_motor, 200000, 0, 0)
    stepper_motor._move = (HALF - 100, 0, 0)  # as far as nights without a reset have brought it
    axis.set_origin()
    for done in (6000, 12000):
        axis.move(6000, 12000)
        chip.pass_us(2000000)
        assert (axis.position(), axis.moving()) == (done, False)
    assert stepper_motor.position() == 11900 - HALF
    assert axis.located(HALF - 200) == -100  # counted before the wrap, as the latch may have


def check_the_stepper_moves_the_real_motor_and_stops_it_on_the_way():
    _, _, stepper_motor = motor()
    axis = Stepper(stepper_motor, 200000, 0, 28000)
    axis.move_to(20000, 12000)
    chip.pass_us(900000)
    axis.stop()
    begun = axis.position()
    chip.pass_us(1000000)
    assert begun < axis.position() <= begun + 12000 * 12000 // 400000 + 1
    assert not axis.moving()
    axis.move_to(0, 12000)
    chip.pass_us(4000000)
    assert axis.position() == 0


if __name__ == "__main__":
    wired.run(globals())
