"""A guided session at the hand bench: slips are named at once, and an interrupted session is resumed."""

import json
import re
import subprocess
import tempfile
from dataclasses import replace
from pathlib import Path
from subprocess import PIPE

import pytest
from answering import Answering
from commands_rig import COMMAND, midspan, refusal
from hand_rig import BENCH, bench_file, good, write
from hypothesis import given, settings
from hypothesis import strategies as st
from midspan.base.errors import ReadingsError
from midspan.cli import hand
from midspan.hand_bench.bench import HandBench
from midspan.hand_bench.guide import Guide, reading_order
from midspan.hand_bench.record import NAMES, HandRecord, HandShaft, ReadingPlan, Typed
from midspan.hand_bench.sessions import sessions
from stores import store_in
from synthetic import Shaft

pytestmark = pytest.mark.slow

GUIDED = ("hand", "measure", "--shaft", 3, "--label", "bar-3")


class Killed(BaseException):
    """A power cut at a prompt: nothing more of the command runs."""


class Bench(Answering):
    """A person at a bench who types the true reading of the dial at the position that the prompt names.

    `slips` are typed instead at the first reading of a place; the power goes at the dial's prompt `at`. `read` are the
    prompts of the dial, each with its place. Diameter and temperature were not measured.
    """

    def __init__(self, typed, slips=None, at=None):
        super().__init__()
        self.true = {(each.angle_deg, each.repeat): each for each in typed}
        self.order = list(self.true)
        self.slips, self.at, self.read = dict(slips or {}), at, []

    @property
    def prompts(self):
        """Return how many prompts of the dial came."""
        return len(self.read)

    def typed(self, prompt):
        """Return what the person types at a prompt."""
        name = prompt.id.removeprefix("again ")
        if name not in NAMES:
            return ""
        place = self.order[int(prompt.part.split()[0]) - 1]
        self.read.append((place, prompt.id))
        if self.prompts == self.at:
            raise Killed
        return self.slips.pop((place, name), None) or getattr(self.true[place], name)


def guided(bench, monkeypatch, folder, *more):
    """Return how a guided session with this person ended."""
    monkeypatch.setattr(hand, "Prompter", lambda: bench)
    return midspan(*GUIDED, *more, folder=folder)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "hand-bench.toml").write_text(BENCH, encoding="utf-8")
    return tmp_path


def killed(bench, monkeypatch, folder, *more):
    """Run a guided session until the power goes."""
    with pytest.raises(Killed):
        guided(bench, monkeypatch, folder, *more)


def stored(folder):
    """Return the results of the shaft without their times."""
    with store_in(folder).open(create=False) as store:
        return [replace(each.result, started_ms=0) for each in store.history("bar-3")]


HOW = ("--positions", 8, "--repeats", 2)
TYPED = good(Shaft(501.0, 3.0))
TOO_MUCH = f"{float(TYPED[0].loaded) + 1:.2f}"


def bench_in(folder):
    """Make a folder with a bench file and return it."""
    folder.mkdir()
    (folder / "hand-bench.toml").write_text(BENCH, encoding="utf-8")
    return folder


def test_killed_at_every_prompt_it_goes_on_and_gives_the_same_result(tmp_path, monkeypatch) -> None:
    """Type a slip that is found at once, and a slip that only later readings contradict."""
    slips = {(("90", "1"), "loaded"): TOO_MUCH, (("135", "2"), "unloaded_again"): "13.00"}
    whole = Bench(TYPED, slips)
    assert not guided(whole, monkeypatch, bench_in(tmp_path / "whole"), *HOW).returncode
    (expected,) = stored(tmp_path / "whole")
    assert expected.doubts == ()
    assert whole.prompts > 3 * len(TYPED)
    for at in range(1, whole.prompts + 1):
        folder = bench_in(tmp_path / str(at))
        first = Bench(TYPED, slips, at)
        killed(first, monkeypatch, folder, *HOW)
        (session,) = sessions(folder / "hand-readings.jsonl")
        second = Bench(TYPED, first.slips)
        done = guided(second, monkeypatch, folder, *HOW)
        assert not done.returncode, done.stderr
        again = 4 * (at > 1)  # at most the reading in hand and its repeat
        assert second.prompts <= whole.prompts - 3 * len(session.typed) + again
        assert stored(folder) == [expected]


@settings(max_examples=15)
@given(st.lists(st.integers(1, 20), min_size=1, max_size=12), st.randoms(use_true_random=False))
def test_killed_again_and_again_it_still_ends_the_same(ends, random) -> None:
    with tempfile.TemporaryDirectory() as name, pytest.MonkeyPatch.context() as monkeypatch:
        folder, place = bench_in(Path(name) / "bench"), random.choice(TYPED)
        slips = {((place.angle_deg, place.repeat), random.choice(NAMES)): TOO_MUCH}
        for at in ends:
            bench = Bench(TYPED, slips, at)
            try:
                guided(bench, monkeypatch, folder, *HOW)
                break
            except Killed:
                slips = bench.slips
        else:
            assert not guided(Bench(TYPED, slips), monkeypatch, folder, *HOW).returncode
        (result,) = stored(folder)
        (session,) = sessions(folder / "hand-readings.jsonl")
        assert {each.loaded for each in session.typed} == {each.loaded for each in TYPED}
        assert result.doubts == ()
        assert not session.has_lost_lines


@pytest.mark.process
def test_a_killed_process_leaves_every_number_that_was_typed(folder) -> None:
    words = [*COMMAND, *map(str, GUIDED)]
    typed = [cell for each in TYPED[:3] for cell in (each.unloaded, each.loaded, each.unloaded_again)][:8]
    file = folder / "hand-readings.jsonl"
    with subprocess.Popen(words, cwd=folder, stdin=PIPE, stdout=PIPE, text=True) as process:
        process.stdin.write("\n\n" + "\n".join(typed) + "\n")  # diameter and temperature were not measured
        process.stdin.flush()
        while not file.exists() or file.read_text(encoding="utf-8").count('"line"') < len(typed):
            assert process.poll() is None
        process.kill()
    *_, last = map(json.loads, file.read_text(encoding="utf-8").splitlines())
    assert [last[name] for name in NAMES[:2]] == typed[6:]
    (session,) = sessions(file)
    assert session.typed == tuple(TYPED[:2])
    assert not session.has_ended


def test_a_slip_is_named_as_soon_as_it_is_typed_and_the_right_number_counts(folder, monkeypatch) -> None:
    """Type a slip at the twelfth reading: the question comes with the weight still on."""
    bench = Bench(TYPED, {(("135", "2"), "loaded"): TOO_MUCH})
    assert not guided(bench, monkeypatch, folder).returncode
    wrong = bench.read.index((("135", "2"), "loaded"))
    assert bench.read[wrong + 1] == (("135", "2"), "again loaded")
    assert bench.prompts == 3 * len(TYPED) + 1
    assert any({"135", "2:", TOO_MUCH + ","} <= set(said.split()) for said in bench.said)
    text = (folder / "hand-readings.jsonl").read_text(encoding="utf-8")
    assert text.count(f'"loaded": "{TOO_MUCH}"') > 0
    assert stored(folder)[0].doubts == ()


def test_a_slip_that_only_later_readings_contradict_is_read_again(folder, monkeypatch) -> None:
    bench = Bench(TYPED, {(("45", "1"), "loaded"): TOO_MUCH})
    assert not guided(bench, monkeypatch, folder).returncode
    turns = [place for place, name in bench.read if name == "unloaded"]
    assert turns.count(("45", "1")) == 2
    assert len(turns) == len(TYPED) + 1
    assert stored(folder)[0].doubts == ()


def test_the_same_value_again_confirms_a_reading_on_record(folder, monkeypatch) -> None:
    wrong = [replace(each, loaded=TOO_MUCH) if each == TYPED[11] else each for each in TYPED]
    bench = Bench(wrong)
    assert not guided(bench, monkeypatch, folder).returncode
    assert bench.prompts == 3 * len(TYPED) + 1
    (session,) = sessions(folder / "hand-readings.jsonl")
    assert [each.confirmed for each in session.typed] == [""] * 11 + ["loaded"] + [""] * 4
    (result,) = stored(folder)
    assert result.readings == 16
    assert not any("135" in doubt for doubt in result.doubts)


def test_two_that_contradict_each_other_are_both_read_again(folder, monkeypatch) -> None:
    """Take four readings with a millimetre more at 0 degrees than at 180."""
    typed = good(Shaft(501.0, 0.0), angles=(0, 90, 180, 270), repeats=1)
    bench = Bench(typed, {(("0", "1"), "loaded"): TOO_MUCH})
    guided(bench, monkeypatch, folder, "--positions", 4, "--repeats", 1)
    (session,) = sessions(folder / "hand-readings.jsonl")
    assert {each.angle_deg: each.loaded for each in session.typed} == {each.angle_deg: each.loaded for each in typed}
    assert len([said for said in bench.said if str(said).startswith("note: ")]) == 1
    assert stored(folder)[0].doubts == ()


CHANGED = {
    "bench": ((), ("span.span_mm", "711.2", "711.4")),
    "positions": (("--positions", 4), ("positions", "8", "4")),
    "repeats": (("--repeats", 3), ("repeats", "2", "3")),
    "operator": (("--operator", "Ben"), ("operator", "Ben")),
}


@pytest.mark.parametrize("what", CHANGED)
def test_two_halves_of_different_sessions_are_not_mixed(folder, monkeypatch, what) -> None:
    more, values = CHANGED[what]
    killed(Bench(TYPED, at=20), monkeypatch, folder)
    before = (folder / "hand-readings.jsonl").read_bytes()
    if what == "bench":
        text = BENCH.replace("span_mm = 711.2", "span_mm = 711.4")
        (folder / "hand-bench.toml").write_text(text, encoding="utf-8")
    error = refusal(guided(Bench(TYPED), monkeypatch, folder, *more), ReadingsError)
    assert error.code == "session_changed"
    assert {*values, "6", "16", "--anew"} <= {word.strip("(),;") for word in str(error).split()}
    assert (folder / "hand-readings.jsonl").read_bytes() == before
    typed = good(Shaft(501.0, 3.0), angles=[i * 90 for i in range(4)]) if what == "positions" else TYPED
    typed = good(Shaft(501.0, 3.0), repeats=3) if what == "repeats" else typed
    assert not guided(Bench(typed), monkeypatch, folder, *more, "--anew").returncode
    old, new = sessions(folder / "hand-readings.jsonl")
    assert (len(old.typed), len(new.typed)) == (6, len(typed))


def test_an_ended_session_is_not_resumed(folder, monkeypatch) -> None:
    """End sessions with a result, with a refusal and from a table; leave one of another shaft unfinished."""
    guided(Bench(TYPED), monkeypatch, folder)
    swapped = [replace(each, unloaded=each.loaded, loaded=each.unloaded, unloaded_again=each.loaded) for each in TYPED]
    assert refusal(guided(Bench(swapped), monkeypatch, folder), ReadingsError).code == "direction"
    write(folder, TYPED)
    assert not midspan(*GUIDED, "--csv", "read.csv", folder=folder).returncode
    last = Bench(TYPED)
    guided(last, monkeypatch, folder)
    assert last.prompts == 3 * len(TYPED)
    killed(Bench(TYPED, at=20), monkeypatch, folder)
    other = Bench(TYPED)
    monkeypatch.setattr(hand, "Prompter", lambda: other)
    assert not midspan("hand", "measure", "--shaft", 4, folder=folder).returncode
    assert other.prompts == 3 * len(TYPED)
    assert [len(each.typed) for each in sessions(folder / "hand-readings.jsonl")] == [16, 16, 16, 16, 6, 16]


def test_an_unfinished_session_is_a_doubt(folder, monkeypatch) -> None:
    killed(Bench(TYPED, at=25), monkeypatch, folder)
    assert not midspan("hand", "recompute", folder=folder).returncode
    (doubt,) = stored(folder)[0].doubts
    assert re.findall(r"\d+", doubt) == ["8", "16"]


def test_a_line_that_a_power_cut_tore_is_read_again(folder, monkeypatch) -> None:
    killed(Bench(TYPED, at=20), monkeypatch, folder)
    file = folder / "hand-readings.jsonl"
    file.write_bytes(file.read_bytes()[:-40])
    second = Bench(TYPED)
    guided(second, monkeypatch, folder)
    assert any(re.search(r"jsonl, line (\d+): ", str(said)) for said in second.said)
    assert second.prompts == 3 * 10
    assert stored(folder)[0].doubts == ()


def test_going_back_after_an_interruption_reads_the_last_reading_again(folder) -> None:
    record = HandRecord(folder / "hand.jsonl")
    place = record.begin({}, HandShaft(3, "", ""), 0, ReadingPlan(positions=2, repeats=1, readings=2))
    record.keep(place, Typed("0", "1", "3.00", "15.70", "3.00"))
    (session,) = sessions(record.path)
    person = Answering({"unloaded": ["b", "3.01", "3.00"], "loaded": ["15.71", "15.72"], "unloaded_again": "3.00"})
    guide = Guide(reading_order(2, 1), HandBench.model_validate(bench_file()), person, session.typed)
    whole = [each for each in guide.readings() if isinstance(each, Typed)]
    assert [(each.angle_deg, each.loaded) for each in whole] == [("0", "15.71"), ("180", "15.72")]
