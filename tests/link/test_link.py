"""Ports that are missing, busy, forbidden, silent or not a gauge; and the real device code over a pseudo-terminal."""

import errno
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import rig
import serial
from midspan.base.errors import DeviceFault, LinkError, OutputError, ProtocolError
from midspan.link import serial_port
from midspan.link.gauge import Gauge
from midspan.link.session_events import BlockCame, OutOfPlace, StateChanged
from midspan.rehearsal import process
from midspan.rehearsal.process import Rehearsal
from midspan.wire.records import Phase, State
from serial.tools import list_ports

pytestmark = pytest.mark.process

SHAFTS = {"seed": 3, "shafts": [{"number": 1}, {"number": 2}, {"number": 3, "fault": "cell_stuck"}]}


@pytest.mark.parametrize(("port", "code"), [("/dev/no-such-port", "no_such_port"), (__file__, "not_serial")])
def test_a_port_that_cannot_be_opened(port: str, code: str) -> None:
    with pytest.raises(LinkError, match=f"{port}: ") as caught:
        serial_port.SerialLink(port)
    assert caught.value.code == code


def test_a_port_that_another_program_has() -> None:
    with rig.bare_line() as (_, port), serial_port.SerialLink(port), pytest.raises(LinkError) as caught:
        serial_port.SerialLink(port)
    assert caught.value.code == "busy"


def test_a_port_without_permission(monkeypatch: pytest.MonkeyPatch) -> None:
    def forbidden(*_: object, **__: object) -> None:
        raise serial.SerialException(errno.EACCES, "Permission denied")

    monkeypatch.setattr(serial, "Serial", forbidden)
    with pytest.raises(LinkError, match="/dev/ttyX: ") as caught:
        serial_port.SerialLink("/dev/ttyX")
    assert caught.value.code == "no_permission"


def test_bytes_of_every_value_pass_both_ways() -> None:
    data = bytes(range(256))
    with rig.bare_line() as (far, port), serial_port.SerialLink(port) as near:
        near.write(data)
        assert os.read(far, 1000) == data
        os.write(far, data)
        found = near.read()
        while len(found) < len(data):
            found += near.read()
        assert (found, near.read()) == (data, b"")


def test_what_waits_on_a_port_is_dropped_when_it_is_opened() -> None:
    """An answer to an earlier host must not be taken for an answer to this one."""
    with rig.bare_line() as (far, port):
        os.write(far, b"from before")
        with serial_port.SerialLink(port, read_s=0) as near:
            assert near.read() == b""


def test_an_other_end_that_goes_away() -> None:
    far, near = os.openpty()
    port = os.ttyname(near)
    with serial_port.SerialLink(port) as line:
        os.close(near)
        os.close(far)
        with pytest.raises(LinkError, match=f"{port}: ") as caught:
            line.read()
    assert caught.value.code == "gone"


def test_the_list_of_ports(monkeypatch: pytest.MonkeyPatch) -> None:
    usb = SimpleNamespace(device="/dev/p1", vid=0x2E8A, pid=5, serial_number="E66", description="Board in FS mode")
    plain = SimpleNamespace(device="/dev/p0", vid=None, pid=None, serial_number=None, description="n/a")
    monkeypatch.setattr(list_ports, "comports", lambda: [usb, plain])
    assert serial_port.ports() == [
        serial_port.PortInfo("/dev/p0", "", "", ""),
        serial_port.PortInfo("/dev/p1", "2e8a:0005", "E66", "Board in FS mode"),
    ]


def test_a_silent_port_is_no_gauge() -> None:
    with rig.bare_line() as (_, port), serial_port.SerialLink(port, read_s=0) as line:
        gauge = Gauge(line, rig.ticking())
        with pytest.raises(LinkError, match=f"{port}: ") as caught:
            gauge.identify()
    assert caught.value.code == "no_answer"


def test_a_port_with_another_instrument_is_no_gauge() -> None:
    with rig.bare_line() as (far, port), serial_port.SerialLink(port, read_s=0) as line:
        os.write(far, b"ST,+00123.4,g\r\n" * 20)
        with pytest.raises(LinkError, match=f"{port}: 300 ") as caught:
            Gauge(line, rig.ticking()).identify()
    assert caught.value.code == "no_gauge"


# The real device code


@pytest.mark.parametrize(
    ("command", "runtime"),
    [(process.interpreter_command(), "micropython"), ([sys.executable], "cpython")],
    ids=["device", "cpython"],
)
def test_two_shafts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: list[str], runtime: str) -> None:
    if runtime == "micropython" and command == [sys.executable]:
        pytest.skip("MicroPython has no wheel for this platform")
    monkeypatch.setattr(process, "interpreter_command", lambda shafts: command)
    seen: list[object] = []
    with rig.gauge_on(SHAFTS, tmp_path) as gauge:
        found = gauge.settled()
        assert (found.state, found.held_shaft) == (State.IDLE, None)
        assert found.runtime.startswith(runtime)
        for number in (1, 2):
            run = gauge.run(number, f"a{number}", rig.CYCLE, on_event=seen.append)
            gauge.acknowledge(number)
            assert (run.shaft, run.label, run.complete, run.cause) == (number, f"a{number}", True, None)
            assert [phase for phase, _ in run.segments] == [Phase.SEATING, *list(Phase)[: Phase.BENCH]]
            assert np.all(np.diff(run.tick_us) > 0)
        line = gauge.session.line
        assert (line.lost, line.damaged, gauge.session.repeats) == (0, 0, 0)
    states = [outcome.event.state for outcome in seen if isinstance(outcome, StateChanged)]
    assert states == [State.RUNNING, State.HOLDING] * 2
    assert not any(isinstance(outcome, OutOfPlace) for outcome in seen)


def test_a_reading_of_a_short_program_costs_at_most_six_bytes(tmp_path: Path) -> None:
    with rig.gauge_on(SHAFTS, tmp_path) as gauge:
        gauge.settled()
        before = gauge.session.line.bytes_in
        run = gauge.run(1, "", rig.CYCLE)
        assert 4 < (gauge.session.line.bytes_in - before) / len(run) <= 6  # events and replies included


def test_a_line_that_damages_every_tenth_frame(tmp_path: Path) -> None:
    with rig.gauge_on(SHAFTS, tmp_path / "smooth") as gauge:
        smooth = gauge.run(1, "", rig.CYCLE)
    with rig.gauge_on(SHAFTS, tmp_path / "rough", rig.damaging(10)) as gauge:
        rough = gauge.run(1, "", rig.CYCLE)
        gauge.acknowledge(1)
        assert gauge.session.line.damaged > 0
    assert np.array_equal(rough.counts, smooth.counts)
    assert np.array_equal(rough.status[1:], smooth.status[1:])  # before the first a sample may be missing


def test_a_gauge_without_a_shaft(tmp_path: Path) -> None:
    with rig.gauge_on({"seed": 1, "shafts": []}, tmp_path) as gauge:
        run = gauge.run(9, "", rig.CYCLE)
        gauge.acknowledge(9)
        assert (run.complete, run.cause) == (False, "NO_CONTACT")
        assert gauge.settled().state is State.IDLE


def test_a_sick_cell_stands_still_until_cleared(tmp_path: Path) -> None:
    with rig.gauge_on(SHAFTS, tmp_path) as gauge:
        run = gauge.run(3, "", rig.CYCLE)
        assert (run.complete, run.cause) == (False, "CELL_STUCK")
        assert len(run) > 0
        gauge.acknowledge(3)
        with pytest.raises(DeviceFault, match="CELL_STUCK"):
            gauge.run(1, "", rig.CYCLE)
        gauge.clear_fault()
        assert gauge.run(1, "", rig.CYCLE).complete


def test_a_broken_home_switch_is_a_fault_of_the_gauge(tmp_path: Path) -> None:
    with rig.gauge_on({"gauge": {"home_switch_broken": "open"}, "shafts": []}, tmp_path) as gauge:
        assert gauge.settled().state is State.FAULTED
        with pytest.raises(DeviceFault):
            gauge.clear_fault()


def interrupt_at(phase: Phase) -> Callable[[object], None]:
    """Return a watcher that presses Ctrl-C as soon as a phase is reached."""

    def on_event(outcome: object) -> None:
        if isinstance(outcome, BlockCame) and outcome.block.phase == phase:
            raise KeyboardInterrupt

    return on_event


def test_stop_in_mid_shaft_keeps_the_readings(tmp_path: Path) -> None:
    with rig.gauge_on(SHAFTS, tmp_path) as gauge:
        with pytest.raises(KeyboardInterrupt):
            gauge.run(1, "", rig.CYCLE, on_event=interrupt_at(Phase.LIGHT))
        run = gauge.stop()
        assert run is not None
        assert (run.shaft, run.complete, run.cause) == (1, False, "STOPPED_BY_HOST")
        assert {Phase.ZERO_BEFORE, Phase.LIGHT} <= {phase for phase, _ in run.segments}
        gauge.acknowledge(1)
        assert gauge.stop() is None
        assert gauge.run(2, "", rig.CYCLE).complete


def test_a_host_that_dies_and_the_next_that_fetches(tmp_path: Path) -> None:
    with Rehearsal(SHAFTS, tmp_path) as simulated:
        with serial_port.SerialLink(simulated.port) as line, pytest.raises(KeyboardInterrupt):
            Gauge(line).run(1, "", rig.CYCLE, on_event=interrupt_at(Phase.LIGHT))
        with serial_port.SerialLink(simulated.port) as line:
            gauge = Gauge(line)
            found = gauge.settled()
            assert (found.state, found.held_shaft) == (State.HOLDING, 1)
            with pytest.raises(ProtocolError, match="shaft 1:") as caught:
                gauge.run(2, "", rig.CYCLE)
            assert caught.value.code == "holds_readings"
            run = gauge.fetch(1, "found")
            assert run.label == "found"
            assert run.complete or run.cause == "HOST_SILENT"
            gauge.acknowledge(1)
            assert gauge.run(2, "", rig.CYCLE).complete


def test_a_refused_program_names_step_and_field(tmp_path: Path) -> None:
    with rig.gauge_on(SHAFTS, tmp_path) as gauge:
        with pytest.raises(ProtocolError) as caught:
            gauge.run(1, "", rig.cycle(full_count=2_000_000))
        assert caught.value.code == "OUT_OF_RANGE"
        assert all(part in str(caught.value) for part in ("Program", "5.until_count"))
        assert gauge.run(1, "", rig.CYCLE).complete


TAKES_IT = """
import sys
from pathlib import Path
from midspan.rehearsal.process import Rehearsal
with Rehearsal({"shafts": []}, Path(sys.argv[1]), lambda: print("prepared", flush=True)):
    print("running", flush=True)
    sys.stdin.read()
"""


def test_a_simulated_gauge_is_one_hosts_at_a_time(tmp_path: Path) -> None:
    """A second host neither prepares the folder anew nor starts another gauge in it."""
    command = [sys.executable, "-c", TAKES_IT, str(tmp_path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as first:
        assert first.stdout is not None
        assert [first.stdout.readline().strip() for _ in range(2)] == ["prepared", "running"]
        prepared: list[object] = []
        second = Rehearsal({"shafts": []}, tmp_path, lambda: prepared.append(1))
        with pytest.raises(LinkError) as caught, second:
            pass
        assert (caught.value.code, str(tmp_path) in str(caught.value)) == ("busy", True)
        assert prepared == []
        first.kill()  # a host that dies leaves it to the next
    with Rehearsal({"shafts": []}, tmp_path) as third, serial_port.SerialLink(third.port) as line:
        assert Gauge(line).settled().state is State.IDLE


def test_a_simulated_gauge_that_cannot_start_says_why(tmp_path: Path) -> None:
    scenario = {"gauge": {"no_such_thing": 1}}
    with pytest.raises(LinkError) as caught, rig.gauge_on(scenario, tmp_path) as gauge:
        gauge.identify()
    assert caught.value.code == "simulation_ended"
    assert "no_such_thing" in str(caught.value)


def test_a_simulated_gauge_that_fails_to_start_leaves_the_folder_to_the_next(tmp_path: Path) -> None:
    def fail() -> None:
        raise OutputError("full")

    failed = Rehearsal({"shafts": []}, tmp_path, fail)
    with pytest.raises(OutputError), failed:
        pass
    with Rehearsal({"shafts": []}, tmp_path) as second, serial_port.SerialLink(second.port) as line:
        assert Gauge(line).settled().state is State.IDLE
