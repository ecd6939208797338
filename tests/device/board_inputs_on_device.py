"""The board's sensors, servos and positions on MicroPython, one check at a time; run by test_board.py."""

from array import array

import wired
from chip import chip
from wired import Ticking, go, whole

PLACES = [1000, 1500, 2000]


def check_positions_are_those_of_the_samples_moment():
    chip.converter = Ticking(list(range(1, 99)))
    real_board = whole()
    sample = array("i", [0] * 5)
    while real_board.cell_take(sample):
        pass
    go(real_board.rotate, 1, 100, 2000)
    go(real_board.press, -1, 200, 900)
    begun_us = chip.now_us
    for _ in range(9):
        chip.pass_us(12500)
    rows = []
    while real_board.cell_take(sample):
        rows.append(list(sample))
    assert len(rows) >= 8
    for tick, _, _, rotate, press in rows:
        assert abs(rotate - (tick - begun_us) // 100) <= 2
        assert abs(press + (tick - begun_us) // 200) <= 2


def check_the_mark_is_noted_where_it_passed():
    chip.converter = Ticking([1])
    real_board = whole()
    mark = array("i", [0])
    chip.drive(8, 1)
    go(real_board.rotate, 1, 100, 1000)
    chip.pass_us(20000)
    chip.drive(8, 0)
    chip.pass_us(300)
    chip.drive(8, 1)
    chip.drive(8, 0)  # it bounces
    chip.pass_us(20000)
    assert real_board.mark_take(mark)
    assert abs(mark[0] - 200) <= 3
    assert not real_board.mark_take(mark)


def check_inputs_are_steady_and_only_the_guards_without_a_feeder():
    chip.converter = Ticking([1])
    real_board = whole()
    for number in range(9, 15):
        chip.drive(number, 0)
    real_board.idle()
    real_board.idle()
    assert real_board.inputs() == 0
    chip.drive(15, 1)
    real_board.idle()
    assert real_board.inputs() == 0, "one look is no lid"
    real_board.idle()
    assert real_board.inputs() == 64
    chip.drive(15, 0)
    real_board.idle()
    assert real_board.inputs() == 64
    real_board.idle()
    assert real_board.inputs() == 0
    chip.drive(26, 1)
    real_board.idle()
    real_board.idle()
    assert real_board.inputs() == 128


def check_every_input_has_its_bit():
    chip.converter = Ticking([1])
    real_board = whole(places_us=PLACES)
    pins = [(9, 0), (10, 0), (11, 0), (12, 0), (13, 0), (14, 0), (15, 1), (26, 1)]
    for number, level in pins:
        chip.drive(number, 1 - level)
    for i, (number, level) in enumerate(pins):
        chip.drive(number, level)
        real_board.idle()
        real_board.idle()
        assert real_board.inputs() == 1 << i
        chip.drive(number, 1 - level)
        real_board.idle()
        real_board.idle()
    assert real_board.inputs() == 0
    chip.drive(7, 1)
    assert real_board.home_closed()
    chip.drive(7, 0)
    assert not real_board.home_closed()


def check_the_feeder_strokes_gates_and_selects():
    chip.converter = Ticking([1])
    real_board = whole(places_us=PLACES)
    feeder = real_board.feeder
    assert feeder.places == 3
    servos = [chip.pins[number] for number in (18, 19, 20, 21)]
    while feeder.handling():
        chip.pass_us(10000)
    pulses = {0: (1395, 1605), 1: (805, 2195), 2: (1030, 1970)}  # as parts/feeder.json has them: at rest, at work
    for source in (0, 1):
        feeder.let_in(source)
        assert servos[source].widths_us[-1] == pulses[source][1]
        assert feeder.handling()
        chip.pass_us(401000)
        assert feeder.handling(), "on its way back"
        assert servos[source].widths_us[-1] == pulses[source][0]
        chip.pass_us(401000)
        assert not feeder.handling()
        assert servos[1 - source].widths_us[-1] == pulses[1 - source][0]
    feeder.gate(True)
    assert servos[2].widths_us[-1] == pulses[2][1]
    assert feeder.handling()
    chip.pass_us(401000)
    assert not feeder.handling()
    feeder.gate(False)
    assert servos[2].widths_us[-1] == pulses[2][0]
    for place in (1, 2, 3):
        feeder.select(place)
        assert feeder.handling()
        assert servos[3].widths_us[-1] == PLACES[place - 1]
    assert all(servo.freq == 50 for servo in servos)


def check_passages_of_the_chute_are_counted_once_each():
    chip.converter = Ticking([1])
    real_board = whole(places_us=PLACES)
    chip.drive(14, 1)
    chip.pass_us(100000)
    for _ in range(2):
        for level in (0, 1, 0, 1):  # contact bounce
            chip.drive(14, level)
            chip.pass_us(200)
        chip.pass_us(20000)
    assert real_board.feeder.chute_take()
    assert real_board.feeder.chute_take()
    assert not real_board.feeder.chute_take()


if __name__ == "__main__":
    wired.run(globals())
