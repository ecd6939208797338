"""The check at the prompt, on the real drivers over a simulated chip behind a pseudo-terminal."""

import json

import pytest
from answering import Answering
from board_rig import HAND, board_on
from device_rig import DEVICE, needs_micropython
from midspan.base.errors import ConfigurationError
from midspan.board.check_prompt import Wires
from midspan.board.install import install
from midspan.board.operator import Person
from midspan.board.shell import BoardShell
from midspan.board.signal_tests import SignalOutcome

pytestmark = [needs_micropython, pytest.mark.process]
DEFAULT = json.loads((DEVICE / "board.json").read_text(encoding="utf-8"))
QUIET_INPUTS = ("configuration", "home at rest", "lid at rest", "stop at rest")


def looked_over(board, given=DEFAULT, code="", by_itself=False, idle=(), sees="y"):
    """Return the checks of a board by name; a hand does what they ask for, and `sees` answers what they ask."""
    shell = BoardShell(board.port)
    shell.execute(code + HAND.format(idle=idle))
    person = Person(Answering({"head went down": sees, "rollers turned": sees}), by_itself=by_itself)
    return {check.name: check for check in Wires(shell, person, given, watch_s=3).checks()}


@pytest.fixture(scope="module")
def flash(tmp_path_factory):
    folder = tmp_path_factory.mktemp("board") / "flash"
    with board_on(folder) as found:
        install(BoardShell(found.port), lambda _: None)
    return folder


@pytest.fixture
def board(flash):
    with board_on(flash, wired=True) as found:
        yield found


def test_a_sound_board_passes_every_check_and_moves_a_millimetre_each_way(board):
    found = looked_over(board)
    assert {check.outcome for check in found.values()} == {SignalOutcome.GOOD}
    assert set(found) >= {*QUIET_INPUTS, "home", "lid", "stop", "cell", "cell's sign", "press axis", "rotate axis"}
    assert found["press axis"].words.startswith("400 steps")
    assert found["rotate axis"].words.startswith("400 steps")
    shell = BoardShell(board.port)
    assert shell.value("print(bench.head)") == 4000  # down and up again
    assert shell.value("print(service.board.rotate.position())") == 400
    assert found["sample rate"].words.startswith("81.2 ")  # the converter of the bench has 12315 us


def test_a_converter_that_is_slower_than_the_boards_file_says_is_told(board):
    found = looked_over(board, code="chip.converter.interval_us = 98520\n", by_itself=True)
    assert found["cell"].outcome is SignalOutcome.GOOD  # all words came
    assert found["sample rate"].outcome is SignalOutcome.LOOK
    assert found["sample rate"].words.startswith("10.2 ")
    slow = DEFAULT | {"cell": DEFAULT["cell"] | {"rate": 10}}
    found = looked_over(board, slow, code="chip.converter.interval_us = 98520\n", by_itself=True)
    assert found["sample rate"].outcome is SignalOutcome.GOOD  # it is what the file says


def test_nothing_moves_before_the_switches_work_and_a_cell_that_feels_nothing_is_told(board):
    found = looked_over(board, idle=("home", "cell"))
    assert found["home"].outcome is SignalOutcome.LOOK
    assert found["cell's sign"].outcome is SignalOutcome.LOOK
    assert found["first move"].outcome is SignalOutcome.UNSEEN
    assert "press axis" not in found
    assert BoardShell(board.port).value("print(bench.head)") == 4000


def test_a_head_that_goes_the_wrong_way_is_told_with_the_setting_to_change(board):
    found = looked_over(board, sees="n")
    assert found["press axis"].outcome is SignalOutcome.LOOK
    assert "press.forward" in found["press axis"].words
    assert "rotate.forward" in found["rotate axis"].words


def test_an_open_lid_and_a_switch_with_the_wrong_level_show_at_rest(board):
    found = looked_over(board, code="chip.drive(LID, 1)\n", by_itself=True)
    assert found["lid at rest"].outcome is SignalOutcome.LOOK
    assert found["home at rest"].outcome is SignalOutcome.GOOD
    assert found["first move"].outcome is SignalOutcome.UNSEEN  # nobody is there to see what it does


def test_a_move_ends_at_an_open_lid_and_at_the_home_switch(board):
    shell = BoardShell(board.port)
    shell.execute("from parts import service; bench.touch('stop', 200, 9000)")
    assert 0 < shell.value("service.move(0, 400, 1250)") < 400
    shell.execute("chip.drive(STOP, 0); bench._plans.clear(); bench.head = 100; service._state('home')")
    made = shell.value("service.move(0, -400, 1250)")
    assert -110 <= made <= -100


def test_a_silent_cell_is_told_with_what_to_look_at(board):
    found = looked_over(board, code="chip.converter.ready_us = lambda since_us: None\n", by_itself=True)
    assert found["cell"].outcome is SignalOutcome.LOOK
    assert found["cell"].words.startswith("0 of 80 ")
    assert "cell's sign" not in found


def test_words_with_wrong_trailing_bits_are_counted(board):
    code = "given = chip.converter.word\nchip.converter.word = lambda at_us, pulses: given(at_us, pulses) & ~1\n"
    found = looked_over(board, code=code, by_itself=True)
    assert found["trailing bits"].outcome is SignalOutcome.LOOK
    assert found["trailing bits"].words.startswith("80 of 80")


def test_the_other_converter_is_looked_over_the_same_way(flash):
    given = DEFAULT | {"cell": DEFAULT["cell"] | {"kind": "nau7802"}, "watchdog_ms": 5000}
    settings = flash / "board.json"
    good = settings.read_text(encoding="utf-8")
    settings.write_text(json.dumps(given), encoding="utf-8")
    try:
        with board_on(flash, wired=True) as board:
            found = looked_over(board, given)
            assert BoardShell(board.port).value("print(chip.bus.registers[0x1C])") == 0x80  # its data sheet's start-up
    finally:
        settings.write_text(good, encoding="utf-8")
    assert {check.outcome for check in found.values()} == {SignalOutcome.GOOD}
    assert "81.2 a second" in found["sample rate"].words
    assert "cell's sign" in found
    assert "trailing bits" not in found


def test_a_wrong_configuration_touches_no_pin(board):
    shell = BoardShell(board.port)
    good = (board.flash / "board.json").read_text()
    unsealed = good[: good.rindex("#")]
    (board.flash / "board.json").write_text(unsealed.replace('"kind": "hx711"', '"kind": "scales"'))
    try:
        with pytest.raises(ConfigurationError, match=r"cell\.kind"):
            list(Wires(shell, Person(Answering(), by_itself=True), DEFAULT).checks())
    finally:
        (board.flash / "board.json").write_text(good)
    assert shell.value("print(len(chip.pins))") == 0
