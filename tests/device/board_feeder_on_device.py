"""A shaft through feeder, gauge and chute: the whole device code on the board's drivers; run by test_board.py."""

import os

import board
import wired
from asking import cycle
from chip import chip
from main import Device
from parts.bare import Bare
from records import (
    ACKNOWLEDGE,
    CLEAR_FAULT,
    COMMAND,
    FAULT_CODES,
    FAULTED,
    FEED,
    FINGERPRINT,
    GREET,
    HOLDING,
    IDLE,
    KEEP_ALIVE,
    LOADED,
    PROGRAM,
    PROTOCOL_MAJOR,
    PROTOCOL_MINOR,
    RELEASE,
)  # fmt: skip
from settings import ConfigurationError
from wired import FLASH, Host, Pressed, settings

STEPS = cycle(turn=800, zero=20)
LEFT, RIGHT, HOPPER, CHUTE, LID, STOP, HOME = 9, 10, 12, 14, 15, 26, 7
HOPPER_SERVO, GATE_SERVO, SELECTOR = 18, 20, 21
PLACES_US = [1000, 1500, 2000]


class Rollers:
    """Shafts that roll from the hopper when its servo strokes, and into the chute when the gate opens."""

    def __init__(self, hopper):
        self.hopper, self.there = hopper, 0
        self.out = {HOPPER_SERVO: False, GATE_SERVO: False}
        self.due = []
        self.show()
        chip.drive(CHUTE, 1)
        chip.parts.append(self)

    def show(self):
        chip.drive(HOPPER, 0 if self.hopper else 1)
        for pin in (LEFT, RIGHT):
            chip.drive(pin, 0 if self.there else 1)

    def run(self, now_us):
        for servo in self.out:
            out = chip.pins[servo].widths_us[-1] > 1500 if servo in chip.pins else False
            if out and not self.out[servo]:
                self.moved(servo, now_us)
            self.out[servo] = out
        while self.due and self.due[0][0] <= now_us:
            _, what = self.due.pop(0)
            what()

    def moved(self, servo, now_us):
        if servo == HOPPER_SERVO and self.hopper:
            self.hopper -= 1
            self.due.append((now_us + 600000, self.arrive))
        elif servo == GATE_SERVO and self.there:
            self.there = 0
            self.show()
            for us, level in ((300000, 0), (320000, 1)):
                self.due.append((now_us + us, lambda level=level: chip.drive(CHUTE, level)))

    def arrive(self):
        self.there = 1
        self.show()


def rig(hopper):
    """Return a device that is at home."""
    given = settings(PLACES_US)
    os.chdir(FLASH)
    chip.look_us = chip.slice_us = 400
    chip.converter = Pressed()
    for pin in (LID, STOP, HOME):
        chip.drive(pin, 0)
    host = Host()
    rollers = Rollers(hopper)
    real_board = board.Board(host, given)
    chip.converter.press = real_board.press
    device = Device(real_board)
    until(device, IDLE)
    ask(device, host, GREET, PROTOCOL_MAJOR, PROTOCOL_MINOR, FINGERPRINT)
    return device, host, rollers


def turn(device):
    device.board.idle()
    device.step()


def ask(device, host, *request):
    host.say(*request)
    while host.size:
        turn(device)


def until(device, state, host=None):
    for turns in range(60000):
        if device.gauge.state == state:
            return
        turn(device)
        if host is not None and turns % 200 == 0:
            host.say(COMMAND, KEEP_ALIVE)
    raise AssertionError(device.gauge.state)


def check_a_shaft_goes_all_the_way():
    device, host, rollers = rig(2)
    ask(device, host, FEED, 101, 0)
    until(device, LOADED)
    assert device.gauge.in_gauge == 101
    ask(device, host, PROGRAM, 101, False, STEPS)
    until(device, HOLDING, host)
    assert device.gauge.cause is None
    assert device.held.readings > 500
    ask(device, host, ACKNOWLEDGE, 101)
    assert device.gauge.state == LOADED
    ask(device, host, RELEASE, 101, 3)
    until(device, IDLE)
    assert device.gauge.parts[0].last == (101, 3, True, 1)
    assert device.board.feeder.release_read() == (101, 3, True, 1)
    assert chip.pins[SELECTOR].widths_us[-1] == 2000
    assert rollers.there == 0
    assert rollers.hopper == 1


def check_an_empty_hopper_is_told():
    device, host, _ = rig(0)
    ask(device, host, FEED, 5, 0)
    for _ in range(1000):
        turn(device)
    assert device.gauge.state == IDLE
    assert FAULT_CODES[device.gauge.fault] == "HOPPER_EMPTY"


def check_an_open_lid_ends_all_motion_at_once():
    guarded(LID, "LID_OPEN")


def check_the_emergency_stop_ends_all_motion_at_once():
    guarded(STOP, "EMERGENCY_STOP")


def guarded(pin, fault):
    device, host, _ = rig(1)
    ask(device, host, FEED, 7, 0)
    until(device, LOADED)
    ask(device, host, PROGRAM, 7, False, STEPS)
    while not device.gauge.press.moving():
        turn(device)
    chip.drive(pin, 1)
    before = device.board.press.position()
    until(device, FAULTED)
    assert FAULT_CODES[device.gauge.fault] == fault
    assert not device.board.press.moving()
    assert not device.board.rotate.moving()
    assert abs(device.board.press.position() - before) < 60, "a few turns of the loop at most"
    ask(device, host, COMMAND, CLEAR_FAULT)
    assert device.gauge.state == FAULTED, "not while it lasts"


def check_a_lid_that_is_open_at_the_start_moves_nothing():
    given = settings()
    chip.converter = Pressed()
    for pin, level in ((LID, 1), (STOP, 0), (HOME, 0)):
        chip.drive(pin, level)
    real_board = board.Board(Host(), given)
    device = Device(real_board)
    assert device.gauge.state == FAULTED
    chip.pass_us(100000)
    assert real_board.press.position() == 0


def check_wrong_settings_are_a_fault_over_the_line():
    host = Host()
    host.said = bytearray()
    bare = Bare(host, ConfigurationError("limits.count: 0 is not 1 to 8388607"))
    device = Device(bare)
    assert device.gauge.state == FAULTED
    assert FAULT_CODES[device.gauge.fault] == "CONFIGURATION"
    ask(device, host, GREET, PROTOCOL_MAJOR, PROTOCOL_MINOR, FINGERPRINT)
    for _ in range(20):
        turn(device)
    assert b"limits.count: 0 is not 1 to" in host.said
    ask(device, host, COMMAND, CLEAR_FAULT)
    for _ in range(200):
        turn(device)
    assert device.gauge.state == FAULTED


if __name__ == "__main__":
    wired.run(globals())
