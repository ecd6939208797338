"""The trace of a line: every byte of both directions, read back the same; it stays small and disturbs nothing."""

import itertools
import re
from contextlib import ExitStack
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from limits import no_room
from midspan.base.errors import LinkError, OutputError, TraceError
from midspan.link import open_line as opening
from midspan.link.gauge import Gauge
from midspan.link.open_line import TracedLink, open_line, tracing
from midspan.link.serial_port import SerialLink
from midspan.link.trace_file import BEFORE, FROM_GAUGE, MOST_BYTES, TO_GAUGE, Passed, TraceFile, explained, read_trace
from midspan.measurement.calibration import load_calibration
from midspan.measurement.cycle_plan import cycle_steps
from midspan.measurement.cycle_settings import CycleSettings
from midspan.rehearsal import scenario
from midspan.rehearsal.process import Rehearsal
from midspan.wire.codec import pack
from midspan.wire.framing import Frame, encode
from midspan.wire.records import Program
from places import ROOT
from rig import CYCLE


def trace_at(path, complain=pytest.fail, **more):
    seconds = itertools.count()
    return TraceFile(path, lambda: float(next(seconds)), lambda: "today", complain, **more)


class Line:
    """A line that hands out the pieces it is given."""

    name = "bench"

    def __init__(self, pieces):
        self.pieces, self.sent = list(pieces), []

    def read(self):
        return self.pieces.pop(0) if self.pieces else b""

    def write(self, data):
        self.sent.append(data)


pieces = st.lists(st.tuples(st.sampled_from([TO_GAUGE, FROM_GAUGE]), st.binary(max_size=300)), max_size=20)


@pytest.mark.slow
@given(pieces)
def test_what_is_read_back_is_what_passed(tmp_path_factory, passed):
    path = tmp_path_factory.mktemp("trace") / "line.txt"
    trace = trace_at(path)
    line = Line(data for direction, data in passed if direction == FROM_GAUGE)
    traced = TracedLink(line, trace.opened("bench"))
    for direction, data in passed:
        assert traced.write(data) is None if direction == TO_GAUGE else traced.read() == data
    trace.close()
    found = [*read_trace(path)]
    assert [(piece.direction, piece.data) for piece in found] == [(way, data) for way, data in passed if data]
    assert [piece.time_ms for piece in found] == [2000.0 + 1000 * i for i in range(len(found))]
    assert {piece.line for piece in found} <= {1}
    assert line.sent == [data for direction, data in passed if direction == TO_GAUGE]


@given(st.text(), st.binary(max_size=40))
def test_no_name_or_text_on_the_line_is_taken_for_bytes(tmp_path_factory, text, noise):
    path = tmp_path_factory.mktemp("trace") / "line.txt"
    trace = trace_at(path)
    line = trace.opened(text)
    line.passed(FROM_GAUGE, b"\n1 1 > 1: 00\n" + noise)
    trace.close()
    assert [piece.data for piece in read_trace(path)] == [b"\n1 1 > 1: 00\n" + noise]


@pytest.mark.process
def test_the_trace_of_a_shaft_is_all_that_its_port_took_and_gave(tmp_path, monkeypatch):
    heard = []

    class Port(SerialLink):
        def read(self):
            data = super().read()
            heard.append((FROM_GAUGE, data))
            return data

        def write(self, data):
            super().write(data)
            heard.append((TO_GAUGE, data))

    monkeypatch.setattr(opening, "SerialLink", Port)
    with ExitStack() as stack:
        simulated = stack.enter_context(Rehearsal({"seed": 1, "shafts": [{"number": 7}]}, tmp_path / "gauge"))
        stack.enter_context(tracing(trace_at(tmp_path / "line.txt")))
        gauge = Gauge(stack.enter_context(open_line(simulated.port)))
        run = gauge.run(7, "", CYCLE)
    assert run.complete
    found = [(piece.direction, piece.data) for piece in read_trace(tmp_path / "line.txt")]
    assert found == [(way, data) for way, data in heard if data]
    told = (tmp_path / "line.txt").read_text(encoding="utf-8")
    assert len(re.findall(r"EndOfShaft boot \d+, shaft 7, ", told)) == 1


@pytest.mark.process
def test_a_shaft_takes_as_much_room_as_the_readme_says(tmp_path):
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    kb, least_mb, most_mb = map(
        int, re.search(r"(\d+) kB a shaft, of which the newest (\d+) to (\d+) MB", readme).groups()
    )
    (tmp_path / "gauge.toml").write_text(scenario.example_calibration(1), encoding="utf-8")
    calibration = load_calibration(tmp_path / "gauge.toml")
    with ExitStack() as stack:
        simulated = stack.enter_context(Rehearsal(scenario.rehearsal(scenario.shafts(1, 1), 1), tmp_path / "gauge"))
        stack.enter_context(tracing(trace_at(tmp_path / "line.txt")))
        gauge = Gauge(stack.enter_context(open_line(simulated.port)))
        gauge.run(1, "", cycle_steps(calibration, gauge.identify(), CycleSettings()))
        gauge.acknowledge(1)
    assert (tmp_path / "line.txt").stat().st_size == pytest.approx(1000 * kb, rel=0.1)
    assert (1_000_000 * least_mb, 1_000_000 * most_mb) == (MOST_BYTES, 2 * MOST_BYTES)


def test_a_program_is_told_step_by_step_with_the_names_of_phases(tmp_path):
    told = explained(Frame(7, pack(Program(9, False, CYCLE[:2]))))
    assert told.startswith("frame 7: Program shaft 9, stand False, steps [(phase SEATING, ")
    assert "(phase ZERO_BEFORE, readings 16, settle_readings 5, zero True, press_speed 6000, rotate_speed 640)" in told
    unknown = explained(Frame(7, pack(Program(9, True, (replace(CYCLE[0], phase=200),)))))
    assert "(phase 200, " in unknown


def test_what_is_no_frame_is_told_and_kept(tmp_path):
    trace = trace_at(tmp_path / "line.txt")
    whole = encode(1, bytes.fromhex("12 06"))
    trace.opened("bench").passed(FROM_GAUGE, b"\x05" + whole + whole[:-1])
    trace.close()
    told = (tmp_path / "line.txt").read_text(encoding="utf-8")
    assert told.count(". no frame: ") == 1
    assert [piece.data for piece in read_trace(tmp_path / "line.txt")] == [b"\x05" + whole + whole[:-1]]


def test_it_goes_on_where_a_killed_program_left_off(tmp_path):
    path = tmp_path / "line.txt"
    first = trace_at(path)
    first.opened("bench").passed(TO_GAUGE, b"abcdef")
    first.close()
    path.write_bytes(path.read_bytes()[:-4])
    second = trace_at(path)
    second.opened("bench").passed(TO_GAUGE, b"gh")
    second.close()
    assert [*read_trace(path)] == [Passed(2000.0, 1, TO_GAUGE, b"gh")]


def test_it_stays_small_and_keeps_what_is_newest(tmp_path):
    path = tmp_path / "line.txt"
    trace = trace_at(path, most_bytes=2000)
    line = trace.opened("bench")
    for number in range(200):
        line.passed(TO_GAUGE, bytes([number]))
    trace.close()
    kept = [piece.data[0] for name in (path.with_name(path.name + BEFORE), path) for piece in read_trace(name)]
    assert kept == [*range(kept[0], 200)]
    assert len(kept) > 20
    assert sum(file.stat().st_size for file in tmp_path.iterdir()) < 4200
    assert len([*tmp_path.iterdir()]) == 2


def test_a_file_of_something_else_is_left_alone(tmp_path):
    (tmp_path / "results.db").write_bytes(b"SQLite format 3\0")
    with pytest.raises(OutputError, match=r"results\.db"):
        trace_at(tmp_path / "results.db")
    with pytest.raises(TraceError, match=r"results\.db"):
        [*read_trace(tmp_path / "results.db")]
    assert (tmp_path / "results.db").read_bytes() == b"SQLite format 3\0"
    with pytest.raises(OutputError, match="none"):
        trace_at(tmp_path / "none" / "line.txt")


def test_an_edited_line_is_named(tmp_path):
    path = tmp_path / "line.txt"
    path.write_text("midspan trace 1\n 1.0 1 > 2: 00zz\n")
    with pytest.raises(TraceError, match="line 2"):
        [*read_trace(path)]


def test_a_full_disk_ends_the_trace_and_nothing_else(tmp_path):
    said = []
    trace = trace_at(tmp_path / "line.txt", said.append)
    line = Line([b"x" * 500] * 3)
    traced = TracedLink(line, trace.opened("bench"))
    with no_room(600):
        assert [traced.read() for _ in range(3)] == [b"x" * 500] * 3
        traced.write(b"y")
    trace.close()
    assert len(said) == 1
    assert line.sent == [b"y"]


@pytest.mark.process
def test_a_line_is_traced_only_while_it_was_asked_for(tmp_path):
    with tracing(trace_at(tmp_path / "line.txt")), pytest.raises(LinkError), open_line("no-such-port"):
        pass
    with Rehearsal({"shafts": []}, tmp_path / "gauge") as simulated, open_line(simulated.port) as line:
        assert isinstance(line, SerialLink)
    assert [*read_trace(tmp_path / "line.txt")] == []
