"""The whole board on MicroPython against shadows of the chip, one check at a time; run by test_board.py."""

import os
import sys
from array import array
from binascii import crc32

import board
import machine
import rp2
import wired
from chip import chip
from nau import Nau
from settings import load
from wired import FLASH, Port, Ticking, go, whole


def check_the_default_settings_make_a_board():
    chip.converter = Ticking([1, 2, 3])
    real_board = whole()
    assert real_board.misconfigured == 0
    assert real_board.NAME == "midspan"
    assert real_board.RUNTIME_NOTE == ""
    assert (real_board.INTERVAL_US, real_board.PRESS_LIMIT, real_board.PRESS_SPEED_MAX, real_board.HOME_SPEED) == (
        12500,
        28000,
        12000,
        4000,
    )
    assert (real_board.PRESS_ACCELERATION, real_board.ROTATE_SPEED_MAX, real_board.ROTATE_ACCELERATION) == (
        200000,
        4000,
        24000,
    )
    assert (real_board.feeder, real_board.GUARDS, real_board.COUNT_LIMIT, real_board.READINGS) == (
        None,
        3,
        1700000,
        2400,
    )
    assert real_board.DOWN_SPEED_MAX == 6000, "15 mm/s by the formula in SPEC.md"
    assert 0 <= real_board.boot < 1 << 30
    assert chip.pins[6].value() == 0, "the drivers are enabled"
    sample = array("i", [0] * 5)
    chip.pass_us(30000)
    assert real_board.cell_take(sample)
    before = machine.WDT.last.fed
    assert real_board.idle()
    assert machine.WDT.last.fed == before + 1
    assert machine.WDT.last.timeout_ms == 3000


def check_a_wrong_file_leaves_a_board_that_says_so_and_moves_nothing():
    for changes, words in (
        ({"version": 1}, "version 2"), ({"press__step": 3}, "two uses"), ({"mark": [22, 0]}, "service"),
        ({"limits": {}}, "readings"), ({"limits__bears_count": 1}, "bears_count"), ({"cell__rate": 0}, "Zero"),
        ({"home": None}, "Index"), ({"press": 7}, "Error"),
    ):  # fmt: skip
        chip.reset()
        real_board = whole(**changes)
        assert real_board.misconfigured > 0, changes
        assert words in real_board.RUNTIME_NOTE, real_board.RUNTIME_NOTE
        assert (
            real_board.inputs(),
            real_board.cell_take(None),
            real_board.mark_take(None),
            real_board.home_closed(),
            real_board.press.moving(),
            real_board.rotate.position(),
        ) == (0, False, False, False, 0, 0)
        assert real_board.idle()
        assert real_board.ticks_us() >= 0
        assert real_board.READINGS > 0


def check_the_speed_downwards_is_what_the_cell_bears():
    # The positive root of SPEC.md's formula, by hand: 43, 4.1, 2.9 and 15.9 mm/s; whole mm/s of 400 microsteps.
    for changes, speed in (
        ({"limits__count_per_mm": 3000000}, 12000), ({"limits__count_per_mm": 50000000}, 1600),
        ({"cell__rate": 10}, 800), ({"limits__press_mm_s": 15}, 6000),
    ):  # fmt: skip
        chip.reset()
        chip.converter = Ticking([1, 2, 3])
        real_board = whole(**changes)
        assert real_board.misconfigured == 0, real_board.RUNTIME_NOTE
        assert speed == real_board.DOWN_SPEED_MAX, changes


def check_a_sealed_file_is_taken_and_a_damaged_one_is_not():
    chip.converter = Ticking([1, 2, 3])
    text = b'{"version": 2, "press": {"step": 1, "forward": 1}}\n'
    os.chdir(FLASH)
    for at in (None, 5, 40):
        damaged = bytearray(text)
        if at is not None:
            damaged[at] ^= 4
        with open("board.json", "wb") as file:
            file.write(bytes(damaged) + b"#crc32 %08x\n" % crc32(text))
        if at is None:
            assert load("board.json")["press"]["step"] == 1
        else:
            assert "damaged" in board.this_board().RUNTIME_NOTE


def check_pins_that_the_chip_refuses_are_told_as_well():
    chip.bus = Nau()
    real_board = whole(cell__kind="nau7802", cell__clock=28)
    assert real_board.misconfigured == 1
    assert "SCL" in real_board.RUNTIME_NOTE


def check_a_firmware_without_a_part_of_the_chip_is_told_as_well():
    given = rp2.DMA
    del rp2.DMA
    real_board = whole()
    rp2.DMA = given
    assert real_board.misconfigured == 1
    assert "DMA" in real_board.RUNTIME_NOTE


def check_a_file_that_the_heap_cannot_hold_leaves_a_board_too():
    with open(wired.DEFAULT) as file:
        default = file.read()
    os.chdir(FLASH)
    for begin, middle, times, end in (
        ('{"name": "', "x" * 1000, 300, '"}'), ("[0", ",0" * 500, 80, "]"),
        ('{"x": ', "[" * 100, 100, "]" * 10000 + "}"), (default[:11], "[" * 100, 20, "]" * 2000 + default[20:]),
    ):  # fmt: skip
        with open("board.json", "w") as file:
            file.write(begin)
            for _ in range(times):
                file.write(middle)
            file.write(end)
        chip.reset()
        real_board = board.this_board()
        assert real_board.misconfigured > 0
        assert real_board.RUNTIME_NOTE
        assert chip.pins == {}, "no pin was touched"


def check_what_the_line_cannot_carry_does_not_go_into_the_note():
    os.chdir(FLASH)
    with open("board.json", "w") as file:
        file.write('{"version": 2, "a\\n\\u00e9": {"step": 2}, "b": [2, 1]}')
    note = board.this_board().RUNTIME_NOTE
    assert "a??.step" in note or "b and a??" in note, note


def check_a_missing_file_leaves_a_board_too():
    os.chdir(FLASH)
    real_board = board.this_board()
    assert real_board.misconfigured == 1
    assert "missing" in real_board.RUNTIME_NOTE


def check_a_board_with_the_other_converter():
    chip.bus = Nau(words=(7, 8, 9))
    real_board = whole(cell__kind="nau7802")
    assert real_board.misconfigured == 0, real_board.RUNTIME_NOTE
    sample = array("i", [0] * 5)
    chip.pass_us(12500)
    assert real_board.cell_take(sample)
    assert sample[1] in (7, 8, 9)


def check_a_uart_for_the_line():
    chip.converter = Ticking([1, 2, 3])
    real_board = whole(line="uart")
    assert real_board.misconfigured == 0
    assert machine.UART.made == (0, 115200, 0, 1, 512)
    assert real_board.write(b"abc", 0, 3) == 0
    assert real_board.read_into(bytearray(9)) == 0
    chip.reset()
    assert whole(line="usb2").misconfigured == 1  # its package is not on the board


class Package:
    """The usb package with its second serial port, as if installed on the board."""

    def __init__(self, **parts):
        for name, part in parts.items():
            setattr(self, name, part)


def check_a_second_usb_port_for_the_line():
    started = []

    class Second(Port):
        def __init__(self, timeout):
            super().__init__()
            assert timeout == 0, "it would wait"

    manager = Package(init=lambda port, builtin_driver: started.append((port, builtin_driver)))
    cdc = Package(CDCInterface=Second)
    device = Package(get=lambda: manager, cdc=cdc)
    sys.modules["usb"], sys.modules["usb.device"], sys.modules["usb.device.cdc"] = Package(device=device), device, cdc
    chip.converter = Ticking([1, 2, 3])
    real_board = whole(line="usb2")
    assert real_board.misconfigured == 0, real_board.RUNTIME_NOTE
    ((port, builtin),) = started
    assert builtin, "the prompt stays where it was"
    assert real_board.write(b"abc", 0, 3) == 3
    port.host_reads()
    assert bytes(port.sent) == b"abc"


def check_a_silent_converter_is_started_anew_at_rest_only():
    chip.converter = Ticking([1, 2, 3])
    real_board = whole()
    assert chip.converter.restarts == 1
    chip.converter.silent = True
    real_board._cell._machine.resume()
    sample = array("i", [0] * 5)
    while real_board.cell_take(sample):
        pass
    go(real_board.press, 1, 1000, 20000)
    for _ in range(300):
        chip.pass_us(50000)
        real_board.idle()
    assert chip.converter.restarts == 1, "not while a motor moves"
    real_board.press.halt()
    real_board.idle()  # since the last look there were words
    chip.pass_us(11000000)
    real_board.idle()
    assert chip.converter.restarts == 2
    real_board.idle()
    assert chip.converter.restarts == 2, "not at every turn"


def check_the_last_release_outlives_a_reset():
    chip.converter = Ticking([1])
    feeder = whole(places_us=[1000]).feeder
    assert feeder.release_read() is None
    feeder.release_write(1234567890, 3, False, 0)
    assert feeder.release_read() == (1234567890, 3, False, 0)
    feeder.release_write(1234567891, 2, True, 1)
    assert "release.new" not in os.listdir(FLASH)
    chip.reset()
    chip.converter = Ticking([1])
    feeder = board.this_board().feeder
    assert feeder.release_read() == (1234567891, 2, True, 1)
    for torn in ("", "12 3", "a b c d", "1 2 3 4 5", "1 -2 1 1", "12 x 3 1 1", "9" * 400 + " 1 1 1", "7" * 40000):
        with open("release.txt", "w") as file:
            file.write(torn)
        assert feeder.release_read() is None


def check_the_thermometer_reads_the_data_sheets_line():
    chip.converter = Ticking([1])
    real_board = whole()
    for celsius in (-20, 0, 27, 85):
        volts = 0.706 - 0.001721 * (celsius - 27)
        machine.ADC.reading = int(volts / 3.3 * 4096) << 4
        assert abs(real_board.temperature_centi() - 100 * celsius) < 60, real_board.temperature_centi()


def check_a_chip_that_would_not_run_so_warm_has_no_thermometer():
    chip.converter = Ticking([1])
    real_board = whole()
    for reading in (0, 65535):
        machine.ADC.reading = reading
        assert real_board.temperature_centi() is None


def check_a_thermistor_reads_its_makers_table_and_a_broken_wire_reads_nothing():
    chip.converter = Ticking([1])
    given = {"pin": 28, "pull_up_ohm": 10000, "ohm_25": 10000, "beta_k": 3977}
    assert whole().sensor is None
    assert whole(parts__thermometer=None).sensor is None
    sensor = whole(parts__thermometer=given).sensor
    # 10 kilohm, B25/85 = 3977 K: a common table of such a part (from memory); B alone follows it to 0.8 K.
    for celsius, ohm in ((0, 32650), (10, 19900), (20, 12490), (25, 10000), (30, 8057), (40, 5327), (50, 3603)):
        machine.ADC.at_pin[28] = int(4096 * ohm / (ohm + 10000)) << 4
        assert abs(sensor.centi() - 100 * celsius) < 80, (celsius, sensor.centi())
    for reading in (0, 16, 65535, 65520):
        machine.ADC.at_pin[28] = reading
        assert sensor.centi() is None, reading


def check_free_memory_is_told_once_a_program_has_begun_and_is_the_least():
    chip.converter = Ticking([1])
    real_board = whole()
    assert real_board.free_bytes is None
    real_board.program_begins(1, ())
    first = real_board.free_bytes
    filling = bytearray(30000)
    real_board.program_begins(2, ())
    least = real_board.free_bytes
    assert first - 40000 < least <= first - 30000
    assert len(filling) == 30000
    filling = None
    real_board.program_begins(3, ())
    assert real_board.free_bytes == least


def check_the_heap_is_collected_at_rest_and_never_while_something_moves():
    chip.converter = Ticking([1])
    real_board = whole()
    real_board.idle()
    assert real_board.free_bytes is None
    wired.go(real_board.press, 1, 1000, 15000)
    chip.pass_us(12000000)
    real_board.idle()
    assert real_board.press.moving()
    assert real_board.free_bytes is None
    chip.pass_us(4000000)
    real_board.idle()
    assert real_board.free_bytes > 0


def check_the_service_pin():
    assert not board.service_wanted()
    chip.drive(22, 0)
    assert board.service_wanted()


if __name__ == "__main__":
    wired.run(globals())
