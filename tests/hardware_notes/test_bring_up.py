"""The commands in hardware_notes/bring_up.md print what stands there: run on the real interpreter behind a pty.

The installed device code runs on the real drivers over a simulated chip. Figures, the port's name and the chip's are
left out of the comparison. Run as a script, it writes what is printed now into the page.
"""

import io
import json
import re
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from tempfile import TemporaryDirectory
from unittest import mock

import pytest
from board_rig import HAND, board_on
from commands_rig import midspan
from device_rig import DEVICE, needs_micropython
from midspan.base.errors import MidspanError
from midspan.board.board_file import checked as settings_of
from midspan.board.install import OLDEST_FIRMWARE
from midspan.board.shell import BoardShell
from midspan.cli.board import check
from places import ROOT

pytestmark = pytest.mark.process

PAGE = ROOT / "hardware_notes" / "bring_up.md"
PORT = "/dev/ttyACM0"
HANDS = {"Open the lid.": "lid 1", "Close the lid.": "lid 0", "Press the em": "stop 1", "Release the em": "stop 0"}
BLOCK = re.compile(r"(<!-- drawn: (?P<name>[a-z ]+) -->\n).*?(<!-- end -->)", re.DOTALL)


class Pico:
    """A board as the operating system describes it."""

    device, vid, pid, serial_number, description = PORT, 0x2E8A, 0x0005, "e6614c775b3f2a21", "Board in FS mode"


def printed(port, *arguments):
    """Return the command as typed and everything it prints."""
    done = midspan(*arguments, *(["--port", port] if port else []), columns=100)
    words = " ".join(f'"{word}"' if " " in word else word for word in arguments)
    line = f"$ midspan {words}" + (f" --port {PORT}" if port else "")
    return f"{line}\n{(done.stderr + done.stdout).replace(port or PORT, PORT)}"


class Reader:
    """A person who does what is asked, with hands on the simulated bench, and answers yes."""

    def __init__(self, board, out):
        self.board, self.out = board, out

    def ask(self, text):
        answer = "y" if text.endswith("y or n") else ""
        self.out.write(f"{text} > {answer}".rstrip() + "\n")
        if text.startswith(tuple(HANDS)):
            self.board.by_hand(next(hand for words, hand in HANDS.items() if text.startswith(words)))
        return answer


def checked(board):
    """Run `board check` with a person."""
    out = io.StringIO()
    reader = Reader(board, out)
    with redirect_stdout(out), redirect_stderr(out):
        try:
            with mock.patch("typer.prompt", lambda text, **_: reader.ask(text)):
                check(board.port)
        except MidspanError as error:
            out.write(f"midspan: {error}\n")
    return f"$ midspan board check --port {PORT}\n{out.getvalue().replace(board.port, PORT)}"


def blocks(folder):
    """Return all transcripts by name, in the order of the page."""
    flash = folder / "flash"
    with mock.patch("serial.tools.list_ports.comports", return_value=[Pico()]):
        yield "ports", printed(None, "ports")
    with board_on(flash) as board:
        yield "install", printed(board.port, "board", "install")
        yield "config", printed(board.port, "board", "config", "--set", "name=north bench")
        yield "refused", printed(board.port, "board", "config", "--set", "press.step=7")
    with board_on(flash, wired=True) as board:
        BoardShell(board.port).execute(HAND.format(idle=()))
        yield "wires", checked(board)
        board.reset(service=False)
        yield "gauge", checked(board)
        yield "running", printed(board.port, "board", "install")


def outline(text):
    """Return a transcript without what differs between machines and releases."""
    text = re.sub(r"(?m)^(board|at its prompt): .*$", r"\1", text)
    text = re.sub(r"(?m)^gauge (.*?): .*$", r"gauge \1", text)
    text = re.sub(r" for \w+;", " for a chip;", text)
    return re.sub(r"[+-]?\d+(\.\d+)?", "0", text)


def written(text, found):
    return BLOCK.sub(lambda block: f"{block[1]}```text\n{found[block['name']].rstrip()}\n```\n{block[3]}", text)


@needs_micropython
def test_every_command_prints_what_the_page_says(tmp_path):
    found = dict(blocks(tmp_path))
    text = PAGE.read_text(encoding="utf-8")
    assert {block["name"] for block in BLOCK.finditer(text)} == set(found)
    assert outline(text) == outline(written(text, found)), "write it anew: make redraw"


@needs_micropython
def test_a_board_with_an_older_file_gets_a_new_one_as_the_page_says(tmp_path):
    text = " ".join(PAGE.read_text(encoding="utf-8").split())
    kept, new = re.search(r"--port PORT (--out \S+)`\), give the board the new one \(`(--write \S+)`", text).groups()
    with board_on(tmp_path / "flash") as board:
        (board.flash / "board.json").write_text('{"name": "north bench"}')
        for words in (kept.replace("old.json", str(tmp_path / "old.json")), new.replace("device", str(DEVICE))):
            done = midspan("board", "config", "--port", board.port, *words.split())
            assert done.returncode == 0, done.stderr
        assert json.loads((tmp_path / "old.json").read_text()) == {"name": "north bench"}
        given = json.loads((DEVICE / "board.json").read_text(encoding="utf-8"))
        assert settings_of((board.flash / "board.json").read_bytes(), "board.json") == given


@needs_micropython
def test_the_page_shows_sound_boards():
    text = PAGE.read_text(encoding="utf-8")
    assert text.count("good ") > 25
    assert not re.search(r"(?m)^look ", text)


@needs_micropython
def test_the_line_that_tries_a_servo_runs_at_the_boards_prompt(tmp_path):
    code = re.search(r'mpremote connect PORT resume exec "(.*)"', PAGE.read_text(encoding="utf-8"))[1]
    with board_on(tmp_path / "flash", wired=True) as board:
        shell = BoardShell(board.port)
        shell.execute(code)
        assert shell.value("import json; print(json.dumps(chip.pins[18].widths_us))") == [1500]


def test_the_page_names_the_oldest_firmware():
    said = re.search(r"written for ([\d.]+) on.*?older than ([\d.]+) is", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    written_for, oldest = (tuple(map(int, version.split("."))) for version in said.groups())
    assert oldest == OLDEST_FIRMWARE <= written_for


if __name__ == "__main__":
    with TemporaryDirectory() as place:
        PAGE.write_text(written(PAGE.read_text(encoding="utf-8"), dict(blocks(Path(place)))), encoding="utf-8")
