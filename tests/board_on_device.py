"""The whole board on MicroPython against shadows of the chip, one check at a time; run by test_board.py."""

import json
import os
import sys
from array import array

import board
import machine
import parts
from chip import chip, clock
from parts import Nau, Ticking

board.time = clock
DEFAULT, FLASH = sys.argv[2] + "/board.json", sys.argv[3]


def segments(*pairs):
    return array("i", [number for pair in pairs for number in pair])


def settings(**changes):
    with open(DEFAULT) as file:
        given = json.load(file)
    for name, value in changes.items():
        at = given
        keys = name.split("__")
        for key in keys[:-1]:
            at = at[key]
        at[keys[-1]] = value
    with open(FLASH + "/board.json", "w") as file:
        json.dump(given, file)
    return given


def whole(**changes):
    settings(**changes)
    os.chdir(FLASH)
    for number in (15, 26, 7):
        chip.drive(number, 0)
    return board.this_board()


PLACES = [1000, 1500, 2000]


def check_the_default_settings_make_a_board():
    chip.converter = Ticking([1, 2, 3])
    one = whole()
    assert one.misconfigured == 0
    assert one.NAME == "midspan"
    assert one.RUNTIME_NOTE == ""
    assert (one.INTERVAL_US, one.PRESS_LIMIT, one.PRESS_SPEED_MAX, one.HOME_SPEED) == (12500, 28000, 12000, 4000)
    assert (one.PRESS_ACCELERATION, one.ROTATE_SPEED_MAX, one.ROTATE_ACCELERATION) == (200000, 4000, 8000)
    assert (one.PLACES, one.GUARDS, one.COUNT_LIMIT, one.BUFFER_BYTES) == (0, 3, 1700000, 49152)
    assert 0 <= one.boot < 1 << 30
    assert chip.pins[6].value() == 0, "the drivers are enabled"
    sample = array("i", [0] * 5)
    chip.pass_us(30000)
    assert one.cell_take(sample)
    before = machine.WDT.last.fed
    assert one.idle()
    assert machine.WDT.last.fed == before + 1
    assert machine.WDT.last.timeout_ms == 8000


def check_a_wrong_file_leaves_a_board_that_says_so():
    for changes, word in (
        ({"cell__rate": 81}, "cell.rate"), ({"press__step": 3}, "is that of"), ({"name": ""}, "name"),
        ({"limits__press_mm_s": 500}, "limits.press_mm_s"), ({"cell__kind": "nau7802", "cell__data": 2}, "2 is"),
    ):  # fmt: skip
        chip.reset()
        one = whole(**changes)
        assert one.misconfigured > 0, changes
        assert word in one.RUNTIME_NOTE, one.RUNTIME_NOTE
        assert (chip.pins, chip.parts) == ({}, []), "no pin was touched"
        assert (one.inputs(), one.cell_take(None), one.axis_moving(0), one.axis_position(1)) == (0, 0, 0, 0)
        one.gate(True)
        assert one.idle()
        assert one.ticks_us() >= 0


def check_pins_that_the_chip_refuses_are_told_as_well():
    chip.bus = Nau()
    one = whole(cell__kind="nau7802", cell__clock=28, mark=None)
    assert one.misconfigured == 1
    assert "SCL" in one.RUNTIME_NOTE


def check_a_missing_file_leaves_a_board_too():
    os.chdir(FLASH)
    one = board.this_board()
    assert one.misconfigured == 1
    assert "missing" in one.RUNTIME_NOTE


def check_a_board_with_the_other_converter():
    chip.bus = Nau(words=(7, 8, 9))
    one = whole(cell__kind="nau7802")
    assert one.misconfigured == 0, one.RUNTIME_NOTE
    sample = array("i", [0] * 5)
    chip.pass_us(12500)
    assert one.cell_take(sample)
    assert sample[1] in (7, 8, 9)


def check_a_uart_for_the_line():
    chip.converter = Ticking([1, 2, 3])
    one = whole(line="uart")
    assert one.misconfigured == 0
    assert machine.UART.made == (0, 115200, 0, 1, 512)
    assert one.write(b"abc", 0, 3) == 0
    assert one.read_into(bytearray(9)) == 0
    chip.reset()
    assert whole(line="usb2").misconfigured == 1  # its package is not on the board


def check_a_silent_converter_is_started_anew_at_rest_only():
    chip.converter = Ticking([1, 2, 3])
    one = whole()
    assert chip.converter.restarts == 1
    chip.converter.silent = True
    one._cell._machine.resume()
    sample = array("i", [0] * 5)
    while one.cell_take(sample):
        pass
    one.axis_feed(0, 1, segments((1000, 20000)), 1)
    for _ in range(300):
        chip.pass_us(50000)
        one.idle()
    assert chip.converter.restarts == 1, "not while a motor moves"
    one.axis_halt(0)
    one.idle()
    assert chip.converter.restarts == 2
    one.idle()
    assert chip.converter.restarts == 2, "not at every turn"


def check_positions_are_those_of_the_samples_moment():
    chip.converter = Ticking(list(range(1, 99)))
    one = whole()
    sample = array("i", [0] * 5)
    while one.cell_take(sample):
        pass
    one.axis_feed(one.ROTATE, 1, segments((100, 2000)), 1)
    one.axis_feed(one.PRESS, -1, segments((200, 900)), 1)
    begun_us = chip.now_us
    for _ in range(9):
        chip.pass_us(12500)
    rows = []
    while one.cell_take(sample):
        rows.append(list(sample))
    assert len(rows) >= 8
    for tick, _, _, rotate, press in rows:
        assert abs(rotate - (tick - begun_us) // 100) <= 2
        assert abs(press + (tick - begun_us) // 200) <= 2


def check_the_mark_is_noted_where_it_passed():
    chip.converter = Ticking([1])
    one = whole()
    mark = array("i", [0])
    chip.drive(8, 1)
    one.axis_feed(one.ROTATE, 1, segments((100, 1000)), 1)
    chip.pass_us(20000)
    chip.drive(8, 0)
    chip.pass_us(300)
    chip.drive(8, 1)
    chip.drive(8, 0)  # it bounces
    chip.pass_us(20000)
    assert one.mark_take(mark)
    assert abs(mark[0] - 200) <= 3
    assert not one.mark_take(mark)


def check_inputs_are_steady_and_masked_without_a_feeder():
    chip.converter = Ticking([1])
    one = whole()
    for number in range(9, 15):
        chip.drive(number, 0)
    one.idle()
    one.idle()
    assert one.inputs() == 0
    chip.drive(15, 1)
    one.idle()
    assert one.inputs() == 0, "one look is no lid"
    one.idle()
    assert one.inputs() == 64
    chip.drive(15, 0)
    one.idle()
    assert one.inputs() == 64
    one.idle()
    assert one.inputs() == 0
    chip.drive(26, 1)
    one.idle()
    one.idle()
    assert one.inputs() == 128


def check_every_input_has_its_bit():
    chip.converter = Ticking([1])
    one = whole(feeder__places_us=PLACES)
    pins = [(9, 0), (10, 0), (11, 0), (12, 0), (13, 0), (14, 0), (15, 1), (26, 1)]
    for number, level in pins:
        chip.drive(number, 1 - level)
    for i, (number, level) in enumerate(pins):
        chip.drive(number, level)
        one.idle()
        one.idle()
        assert one.inputs() == 1 << i
        chip.drive(number, 1 - level)
        one.idle()
        one.idle()
    assert one.inputs() == 0
    chip.drive(7, 1)
    assert one.home_closed()
    chip.drive(7, 0)
    assert not one.home_closed()


def check_the_feeder_strokes_gates_and_selects():
    chip.converter = Ticking([1])
    one = whole(feeder__places_us=PLACES)
    assert one.PLACES == 3
    servos = [chip.pins[number] for number in (18, 19, 20, 21)]
    while one.handling():
        chip.pass_us(10000)
    for source in (0, 1):
        one.let_in(source)
        assert servos[source].widths_us[-1] == 2000
        assert one.handling()
        chip.pass_us(401000)
        assert one.handling(), "on its way back"
        assert servos[source].widths_us[-1] == 1000
        chip.pass_us(401000)
        assert not one.handling()
        assert servos[1 - source].widths_us[-1] == 1000
    one.gate(True)
    assert servos[2].widths_us[-1] == 2000
    assert one.handling()
    chip.pass_us(401000)
    assert not one.handling()
    one.gate(False)
    assert servos[2].widths_us[-1] == 1000
    for place in (1, 2, 3):
        one.select(place)
        assert one.handling()
        assert servos[3].widths_us[-1] == PLACES[place - 1]
    assert all(servo.freq == 50 for servo in servos)


def check_passages_of_the_chute_are_counted_once_each():
    chip.converter = Ticking([1])
    one = whole(feeder__places_us=PLACES)
    chip.drive(14, 1)
    chip.pass_us(100000)
    for _ in range(2):
        for level in (0, 1, 0, 1):  # contact bounce
            chip.drive(14, level)
            chip.pass_us(200)
        chip.pass_us(20000)
    assert one.chute_take()
    assert one.chute_take()
    assert not one.chute_take()


def check_the_last_release_outlives_a_reset():
    chip.converter = Ticking([1])
    one = whole()
    assert one.release_read() is None
    one.release_write(1234567890, 3, False, 0)
    assert one.release_read() == (1234567890, 3, False, 0)
    one.release_write(1234567891, 2, True, 1)
    assert "release.new" not in os.listdir(FLASH)
    chip.reset()
    chip.converter = Ticking([1])
    one = board.this_board()
    assert one.release_read() == (1234567891, 2, True, 1)
    for torn in ("", "12 3", "a b c d", "1 2 3 4 5"):
        with open("release.txt", "w") as file:
            file.write(torn)
        assert one.release_read() is None


def check_the_thermometer_reads_the_data_sheets_line():
    chip.converter = Ticking([1])
    one = whole()
    for celsius in (-20, 0, 27, 85):
        volts = 0.706 - 0.001721 * (celsius - 27)
        machine.ADC.reading = int(volts / 3.3 * 4096) << 4
        assert abs(one.temperature_centi() - 100 * celsius) < 60, one.temperature_centi()


def check_the_service_pin():
    assert not board.service_wanted()
    chip.drive(22, 0)
    assert board.service_wanted()


if __name__ == "__main__":
    parts.run(globals())
