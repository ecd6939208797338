"""The board's configuration: read, changed, checked before it counts, written with its seal, read back."""

import json
import tomllib

import pytest
from board_rig import board_on
from commands_rig import complaint, midspan
from device_rig import DEVICE, needs_micropython
from midspan.base.errors import BoardError, ConfigurationError
from midspan.board.board_file import checked, sealed, unsealed
from midspan.board.config import as_text, changed, read_configuration, write_configuration
from midspan.board.files import CONFIGURATION, default_configuration, default_part
from midspan.board.install import install
from midspan.board.shell import BoardShell
from places import ROOT

pytestmark = [needs_micropython, pytest.mark.process]
DEFAULT = json.loads((DEVICE / "board.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def board(tmp_path_factory):
    with board_on(tmp_path_factory.mktemp("board") / "flash") as found:
        with pytest.raises(BoardError, match=CONFIGURATION):
            read_configuration(BoardShell(found.port))
        (found.flash / CONFIGURATION).write_bytes(default_configuration())
        yield found


def on(board):
    return unsealed((board.flash / "board.json").read_bytes(), "flash")


@pytest.mark.parametrize("name", ["\ud800", "north\nbench"])
def test_a_name_that_the_line_cannot_carry_is_refused(board, tmp_path, name):
    before = on(board)
    given = tmp_path / "given.json"
    given.write_text(json.dumps(DEFAULT | {"name": name}), encoding="utf-8")
    assert "given.json: " in complaint(midspan("board", "config", "--port", board.port, "--write", given))
    assert on(board) == before


def test_bytes_that_are_no_text_are_no_reason_to_fall_over(board):
    assert BoardShell(board.port).execute("import sys; sys.stdout.buffer.write(b'a\\xff')").startswith("a")


def test_it_is_read_as_it_lies_on_the_board(board, tmp_path):
    done = midspan("board", "config", "--port", board.port, "--out", tmp_path / "copy.json")
    assert json.loads(done.stdout) == on(board)
    assert json.loads((tmp_path / "copy.json").read_text(encoding="utf-8")) == on(board)


def test_single_values_are_set(board):
    settings = ("--set", "press.forward=0", "--set", "name=north bench")
    done = midspan("board", "config", "--port", board.port, *settings)
    assert done.returncode == 0, done.stderr
    assert on(board) == DEFAULT | {"name": "north bench", "press": {**DEFAULT["press"], "forward": 0}}
    assert json.loads(done.stdout) == on(board)
    assert sealed((board.flash / "board.json").read_bytes()) == (board.flash / "board.json").read_bytes()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("press.step=7", "press.step"),
        ("press.step=99", "press.step"),
        ("cell.kind=scales", "cell.kind"),
        ("limits.count=-1", "limits.count"),
        ("limits.press_mm=12.5", "limits.press_mm"),
        ("name=", "name"),
    ],
)
def test_what_is_wrong_is_refused_by_its_name_and_changes_nothing(board, change, words):
    before = on(board)
    told = complaint(midspan("board", "config", "--port", board.port, "--set", change))
    assert words in told
    assert change in told
    assert on(board) == before
    assert not (board.flash / "board.new").exists()


def test_a_whole_file_is_written_as_it_is_with_its_seal(board, tmp_path):
    file = tmp_path / "mine.json"
    file.write_text(json.dumps(DEFAULT | {"name": "written"}), encoding="utf-8")
    assert midspan("board", "config", "--port", board.port, "--write", file).returncode == 0
    assert (board.flash / "board.json").read_bytes() == sealed(file.read_bytes())


class HalfWritten(BoardShell):
    """A shell whose board keeps only half of what it is given."""

    def read(self, name):
        found = super().read(name)
        return found and found[: len(found) // 2]


def test_a_file_that_did_not_arrive_whole_leaves_the_old_one(board):
    before = on(board)
    with pytest.raises(BoardError):
        write_configuration(HalfWritten(board.port), as_text(DEFAULT | {"name": "new"}).encode(), "new.json")
    assert on(board) == before


def test_a_damaged_file_is_told_before_it_is_used(board):
    before = (board.flash / "board.json").read_bytes()
    (board.flash / "board.json").write_bytes(before.replace(b'"rate": 80', b'"rate": 10'))
    with pytest.raises(ConfigurationError) as caught:
        read_configuration(BoardShell(board.port))
    assert caught.value.code == "seal"
    (board.flash / "board.json").write_bytes(before)


def test_what_is_asked_next_goes_by_the_new_file(tmp_path):
    with board_on(tmp_path / "flash", wired=True) as wired:
        shell = BoardShell(wired.port)
        install(shell, lambda _: None)
        shell.value("from parts import service; service.look()")
        assert midspan("board", "config", "--port", wired.port, "--set", "cell.rate=10").returncode == 0
        assert shell.value("from parts import service; print(service.board.INTERVAL_US)") == 100000


@pytest.mark.parametrize("content", [b"{", b"[]", b"\xff\xfe", b"", b"{}"])
def test_a_file_that_is_none_changes_nothing(board, tmp_path, content):
    file, before = tmp_path / "bad.json", on(board)
    file.write_bytes(content)
    assert "bad.json" in complaint(midspan("board", "config", "--port", board.port, "--write", file))
    assert on(board) == before


def test_a_missing_file_is_named(board):
    assert "nowhere.json" in complaint(midspan("board", "config", "--port", board.port, "--write", "nowhere.json"))


def test_what_lies_on_the_board_and_is_no_json_is_told(board):
    before = (board.flash / "board.json").read_bytes()
    (board.flash / "board.json").write_text("pins as always")
    with pytest.raises(ConfigurationError, match=CONFIGURATION):
        read_configuration(BoardShell(board.port))
    (board.flash / "board.json").write_bytes(before)


@pytest.mark.parametrize("change", ["forward=1", "press.forwards=1", "press.forward", "", "=", "a.b.c=1"])
def test_only_keys_of_the_file_can_be_set(change):
    with pytest.raises(ConfigurationError) as caught:
        changed(DEFAULT, [change])
    assert str(caught.value).startswith(repr(change))


def test_a_feeder_begins_with_the_usual_wiring_and_can_be_taken_away():
    places = {"places_us": [1000, 2000]}
    fed = changed(DEFAULT, ["parts.feeder.places_us=[1000, 2000]", "parts.feeder.inputs.above=null"])
    inputs = default_part("feeder")["inputs"] | {"above": None}
    assert fed == DEFAULT | {"parts": {"feeder": default_part("feeder") | places | {"inputs": inputs}}}
    checked(json.dumps(fed).encode(), "fed.json")
    plain = changed(fed, ["parts.feeder=null"])
    assert checked(json.dumps(plain).encode(), "plain.json")["parts"] == {"feeder": None}


def test_a_thermometer_joins_a_feeder_with_its_usual_wiring():
    both = changed(DEFAULT, ["parts.feeder.move_ms=300", "parts.thermometer.beta_k=3435"])
    assert both["parts"]["thermometer"] == default_part("thermometer") | {"beta_k": 3435}
    assert both["parts"]["feeder"]["move_ms"] == 300
    checked(json.dumps(both).encode(), "both.json")


def test_the_text_says_the_same():
    assert json.loads(as_text(DEFAULT)) == DEFAULT


def test_the_default_is_the_frame_that_is_drawn():
    file = ROOT / "hardware_notes" / "frame.toml"
    frame = tomllib.loads(file.read_text(encoding="utf-8"))
    assert DEFAULT["limits"]["press_mm"] == frame["press"]["travel"]
    lead_steps = DEFAULT["gear"]["press_steps_per_mm"] * frame["press"]["screw_lead"]
    assert lead_steps == DEFAULT["gear"]["rotate_steps_per_turn"] == 200 * 16  # 1.8 degrees a step, 16 microsteps
