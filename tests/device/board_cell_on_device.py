"""The converters' drivers on MicroPython, through their error paths, one check at a time; run by test_board.py."""

from array import array

import machine
import pulses
import rp2
import wired
from chip import chip, clock
from hx711 import Hx711
from latch import ROOM, Latch
from load_cell import LoadCell
from nau import Nau
from parts.nau7802 import Nau7802
from records import FAULT_CODES
from wired import Still, Ticking


def hx711(counts, clocks=25, trailing=1):
    chip.converter = Ticking(counts, trailing)
    latch = Latch(clock, Still(11), Still(-7))
    reader = rp2.StateMachine(
        2, rp2.asm_pio(set_init=2, in_shiftdir=0)(pulses.words), 1000000,
        in_base=machine.Pin(16, machine.Pin.IN), set_base=machine.Pin(17),
    )  # fmt: skip
    return reader, latch, Hx711(reader, clocks, latch, clock)


def taken(cell):
    sample = array("i", [0] * 5)
    found = []
    while cell.take(sample):
        found.append(list(sample))
    return found


def check_an_hx711_is_switched_off_and_on_then_gives_words():
    for clocks in (25, 26, 27):
        chip.reset()
        reader, _, cell = hx711(list(range(100, 200)), clocks)
        assert cell.start()
        assert chip.converter.restarts == 1
        assert reader.pulses == clocks
        chip.pass_us(25000)
        found = taken(cell)
        assert [row[1] for row in found] == [104, 105], found
        assert [row[2:] for row in found] == [[1, 11, -7]] * 2
        assert abs(found[1][0] - found[0][0] - 12500) <= 60


def check_words_at_both_ends_and_wrong_trailing_bits():
    _, _, cell = hx711([0x7FFFFF, 0x800000, 0, 0xFFFFFF], trailing=0)
    assert cell.start()
    chip.pass_us(50000)
    found = taken(cell)
    assert [row[1] for row in found] == [0x7FFFFF, 0x800000, 0, 0xFFFFFF]
    assert [row[2] for row in found] == [0] * 4


def check_a_silent_hx711_is_given_up_in_bounded_time():
    _, _, cell = hx711([1])
    chip.converter.silent = True
    assert not cell.start()
    assert chip.slept_ms <= 1100


def check_words_come_through_a_pause_of_the_loop_with_their_own_times():
    _, _, cell = hx711(list(range(1, 1000)))
    assert cell.start()
    for _ in range(12):
        chip.pass_us(12500)  # the interrupt comes, the loop does not
    found = taken(cell)
    assert len(found) == 12
    gaps = [b[0] - a[0] for a, b in zip(found, found[1:])]
    assert all(abs(gap - 12500) <= 60 for gap in gaps), gaps


def check_a_full_latch_loses_the_newest_and_goes_on():
    latch = Latch(clock, Still(), Still())
    for word in range(ROOM + 3):
        latch.put(word, 1)
    sample = array("i", [0] * 5)
    found = []
    while latch.take(sample):
        found.append(sample[1])
    assert found == list(range(ROOM))
    latch.put(99, 0)
    assert latch.take(sample)
    assert sample[1] == 99
    assert not latch.take(sample)


def judged(cell, us):
    """Return the fault that load_cell finds in a converter's words over a time, None if it finds none."""
    judge = LoadCell(12500, clock.ticks_us())
    sample = array("i", [0] * 5)
    for _ in range(us // 1000):
        chip.pass_us(1000)
        while cell.take(sample):
            judge.take(sample[0], sample[1], sample[2])
        judge.watch(clock.ticks_us())
    return None if judge.fault is None else FAULT_CODES[judge.fault]


def check_load_cell_names_the_faults_of_an_hx711():
    good = [1000 + 7 * i % 50 for i in range(200)]
    for counts, trailing, silent, fault in (
        (good, 1, False, None), (good, 0, False, "CELL_OUT_OF_STEP"), ([5], 1, False, "CELL_STUCK"),
        ([0x7FFFFF], 1, False, "CELL_SATURATED"), (good, 1, True, "CELL_SILENT"),
    ):  # fmt: skip
        chip.reset()
        _, _, cell = hx711(counts, trailing=trailing)
        assert cell.start()
        chip.converter.silent = silent
        cell._machine.resume()
        assert judged(cell, 400000) == fault, fault


def nau7802(broken=None, words=(5, 6, 7), rate=80):
    bus = Nau(broken, words, 1000000 // rate)
    latch = Latch(clock, Still(11), Still(-7))
    ready = machine.Pin(27, machine.Pin.IN)
    return bus, Nau7802(bus, ready, rate, latch, clock)


def check_a_nau7802_starts_in_the_data_sheets_order():
    bus, cell = nau7802()
    assert cell.start()
    assert bus.log == [
        (0x00, 0x01), (0x00, 0x02),  # reset, digital part on; then wait for it
        (0x00, 0x96),  # internal regulator, conversions on, both parts on
        (0x01, 0x2F),  # regulator 3.0 V, gain 128
        (0x02, 0x30), (0x15, 0x30), (0x1C, 0x80), (0x1B, 0x00),  # rate 80; chopper clock off, capacitor, regulator mode
        (0x02, 0x34),  # calibrate, after everything that calls for it
    ]  # fmt: skip
    assert chip.slept_ms >= 250
    assert bus.number >= 10
    chip.pass_us(12500)
    found = taken(cell)
    assert found
    assert found[-1][2:] == [1, 11, -7]
    assert found[-1][1] in (5, 6, 7)


def check_each_rate_of_a_nau7802():
    for rate, bits in ((10, 0), (20, 1), (40, 2), (80, 3)):
        chip.reset()
        bus, cell = nau7802(rate=rate)
        assert cell.start()
        assert (0x02, bits << 4) in bus.log


def check_a_broken_nau7802_is_given_up_in_bounded_time():
    for broken in ("absent", "no power", "no words", "endless calibration", "calibration error"):
        chip.reset()
        _bus, cell = nau7802(broken)
        assert not cell.start(), broken
        assert chip.slept_ms < 5000


def check_words_of_a_nau7802_are_exact():
    words = (0, 1, 0x7FFFFF, 0x800000, 0xFFFFFF, 0x123456)
    bus, cell = nau7802(words=words)
    assert cell.start()
    taken(cell)
    sample = array("i", [0] * 5)
    for _ in range(12):
        chip.pass_us(12500)
        assert cell.take(sample)
        assert not cell.take(sample)
        assert sample[1] == words[bus.number % len(words)]


def check_a_bus_that_fails_for_a_while_loses_samples_only():
    bus, cell = nau7802(words=tuple(range(1, 90)))
    assert cell.start()
    taken(cell)
    bus.dead = True
    for _ in range(3):
        chip.pass_us(12500)
        assert taken(cell) == []
    bus.dead = False
    assert len(taken(cell)) == 1, "the word that waits is read, though its edge is gone"
    chip.pass_us(12500)
    assert len(taken(cell)) == 1


def check_a_nau7802_that_loses_its_supply_is_silence():
    bus, cell = nau7802(words=tuple(range(1, 90)))
    assert cell.start()
    bus.next_us = None
    assert judged(cell, 100000) == "CELL_SILENT"
    bus.dead = True
    assert not cell.start()
    bus.dead = False
    bus.powered_us = None
    assert cell.start(), "it comes back when its supply does"


if __name__ == "__main__":
    wired.run(globals())
