"""The terminal as a client: typed ahead starts nothing, a pipe answers line by line, its end ends the session."""

import io
import os
import pty
import sys
from collections.abc import Iterator

import pytest
from midspan.base.errors import ReadingsError
from midspan.cli import terminal
from midspan.conversation.desk import NoticeKind
from midspan.conversation.prompts import Answer, Prompt, PromptChoice
from midspan.workspace.settings import Workspace

LAY = Prompt("lay next", "Lay in.", (PromptChoice("start", "", "measure"), PromptChoice("end", "q", "end")), "a label")


@pytest.fixture
def keyboard(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """Yield where keys are pressed; standard input is the other end, a terminal."""
    keys, screen = pty.openpty()
    with os.fdopen(screen, "r", encoding="utf-8") as stream:
        monkeypatch.setattr(sys, "stdin", stream)
        yield keys
    os.close(keys)


def test_lines_of_a_pipe_answer_in_turn(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("\nblue 7\nq\n"))
    with terminal.desk_here() as desk:
        assert [desk.ask(LAY) for _ in range(3)] == [Answer("start"), Answer(text="blue 7"), Answer("end")]
        with pytest.raises(ReadingsError) as ended:
            desk.ask(LAY)
    assert ended.value.code == "left"


def test_a_wrong_line_is_asked_again(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("x\ny\n"))
    with terminal.desk_here() as desk:
        assert desk.ask(Prompt("sure", "Sure?", (PromptChoice("yes", "y", "yes"),))) == Answer("yes")
    assert capsys.readouterr().err.count("Sure?") == 2


def test_typed_ahead_answers_nothing_on_a_terminal(keyboard: int, monkeypatch: pytest.MonkeyPatch) -> None:
    prompted = terminal._show_prompt

    def press_q_once_it_stands_there(posted: object) -> None:
        prompted(posted)  # type: ignore[arg-type]
        os.write(keyboard, b"q\n")

    monkeypatch.setattr(terminal, "_show_prompt", press_q_once_it_stands_there)
    with terminal.desk_here() as desk:
        os.write(keyboard, b"\n\n")  # the Enter of before
        assert desk.ask(LAY) == Answer("end")
        os.write(keyboard, b"\n")
        assert desk.ask(LAY) == Answer("end")


def test_the_end_of_typing_is_told(keyboard: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(terminal, "_show_prompt", lambda _: os.write(keyboard, b"\x04"))  # Ctrl-D
    with terminal.desk_here() as desk, pytest.raises(ReadingsError) as ended:
        desk.ask(LAY)
    assert ended.value.code == "left"


def test_no_bell_where_nobody_hears_it(capsys: pytest.CaptureFixture[str]) -> None:
    with terminal.desk_here(terminal.BELLS) as desk:
        desk.tell(NoticeKind.SOUND, "fault")
    assert "\a" not in capsys.readouterr().err


def test_the_strokes_are_those_of_the_workspace() -> None:
    stated = Workspace.model_validate({"session": {"bells": {"rejected": 4}}})
    assert terminal.strokes_of(stated, quiet=False) == {"accepted": 1, "rejected": 4, "doubtful": 3, "fault": 5}
    assert terminal.strokes_of(stated, quiet=True) == {}
    assert terminal.strokes_of(Workspace.model_validate({"session": {"sound": False}}), quiet=False) == {}
