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

import drawn_tables
import pytest
from board_rig import HAND, board_on
from commands_rig import midspan
from device_rig import DEVICE, needs_micropython
from frame import compliance, contact
from frame.dimensions import Frame
from frame.servos import pulses_us, swings
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
MOST_ASKED = 100
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
        self.board, self.out, self.asked = board, out, 0

    def ask(self, text):
        assert self.asked < MOST_ASKED, text  # an answer that is never taken is asked for without end
        self.asked += 1
        answer = "y" if "(y: yes" in text else ""
        self.out.write(f"{text} > {answer}".rstrip() + "\n")
        for words, hand in HANDS.items():
            if words in text:
                self.board.by_hand(hand)
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


def servos():
    """Yield the rows of the table of what each servo must come to."""
    frame = Frame.load()
    yield from drawn_tables.heading("servo", "turns by", "pulses apart", "begin with, us")
    for name, swing in swings(frame).items():
        low, high = pulses_us(frame, swing)
        yield (f"`parts.feeder.{name}`", f"{swing:g}°", f"{high - low} us", f"{low} and {high}")


def span():
    """Yield what an error of the span costs."""
    yield from drawn_tables.heading("span known to", "u at 500, thou")
    length = float(Frame.load().support.span)
    for known in (0.20, 0.10, 0.05):
        yield (f"{known:.2f} mm", f"{3 * known / length * 500:.2f}")


def sinks():
    """Yield how much further a piece goes down than steel, and what that is of a spine."""
    frame = Frame.load()
    yield from drawn_tables.heading(
        "shaft of 6 mm", "further than steel, um", "makes spine too large by, thou", "and under the head, thou"
    )
    steel = [found(frame, 6.0, "steel").sunk_thou for found in (contact.on_rims, contact.under_head)]
    for material in ("aluminium", "carbon", "wood"):
        rims, head = (found(frame, 6.0, material).sunk_thou for found in (contact.on_rims, contact.under_head))
        seen = (1 - contact.LIGHT) * (rims - steel[0]) * 25.4
        yield (material, f"{seen:.1f}", f"{rims - steel[0]:.2f}", f"{head - steel[1]:.2f}")


TABLES = {"servos": servos, "span": span, "sinks": sinks}


def outline(text):
    """Return a transcript without what differs between machines and releases."""
    text = re.sub(r"(?m)^(board|at its prompt): .*$", r"\1", text)
    text = re.sub(r"(?m)^gauge (.*?): .*$", r"gauge \1", text)
    text = re.sub(r" for \w+;", " for a chip;", text)
    return re.sub(r"[+-]?\d+(\.\d+)?", "0", text)


def written(text, found):
    def transcript(block):
        name = block["name"]
        return block[0] if name in TABLES else f"{block[1]}```text\n{found[name].rstrip()}\n```\n{block[3]}"

    return BLOCK.sub(transcript, text)


def with_tables(text):
    return BLOCK.sub(
        lambda block: drawn_tables.drawn_anew(block[0], TABLES) if block["name"] in TABLES else block[0], text
    )


def test_tables_are_those_of_the_frame():
    text = PAGE.read_text(encoding="utf-8")
    assert text == with_tables(text), "draw them anew: make redraw"


def test_the_give_that_is_told_is_that_of_the_frame():
    told = re.search(r"is the give, about ([\d.]+) mm/N", PAGE.read_text(encoding="utf-8"))
    total = sum(give.mm_per_n for give in compliance.gives(Frame.load()))
    assert float(told[1]) == pytest.approx(total, abs=0.0006)


def test_the_file_that_comes_has_the_pulses_of_the_frame():
    frame = Frame.load()
    given = json.loads((DEVICE / "parts" / "feeder.json").read_text(encoding="utf-8"))
    found = {name: (given[name]["rest_us"], given[name]["work_us"]) for name in swings(frame)}
    assert found == {name: pulses_us(frame, swing) for name, swing in swings(frame).items()}


@needs_micropython
def test_every_command_prints_what_the_page_says(tmp_path):
    found = dict(blocks(tmp_path))
    text = PAGE.read_text(encoding="utf-8")
    assert {block["name"] for block in BLOCK.finditer(text)} == set(found) | set(TABLES)
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
    hold, servo = re.findall(r'mpremote connect PORT resume exec "(.*)"', PAGE.read_text(encoding="utf-8"))
    with board_on(tmp_path / "flash", wired=True) as board:
        shell = BoardShell(board.port)
        shell.execute(hold)
        assert shell.value("print(machine.Pin(6).value())") == 0
        shell.execute(servo)
        assert shell.value("import json; print(json.dumps(chip.pins[18].widths_us))") == [1500]


def test_the_line_that_holds_the_motors_sets_the_pin_of_the_file():
    enable = json.loads((DEVICE / "board.json").read_text(encoding="utf-8"))["enable"]
    held = re.search(r"machine.Pin\((\d+), machine.Pin.OUT, value=(\d)\)", PAGE.read_text(encoding="utf-8"))
    assert [int(value) for value in held.groups()] == enable


def test_the_page_names_the_oldest_firmware():
    said = re.search(r"written for ([\d.]+) on.*?older than ([\d.]+) is", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    written_for, oldest = (tuple(map(int, version.split("."))) for version in said.groups())
    assert oldest == OLDEST_FIRMWARE <= written_for


if __name__ == "__main__":
    with TemporaryDirectory() as place:
        text = with_tables(PAGE.read_text(encoding="utf-8"))
        PAGE.write_text(written(text, dict(blocks(Path(place)))), encoding="utf-8")
