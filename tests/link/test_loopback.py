"""A simulated gauge over a loopback socket: the way without pseudo-terminals, as on Windows."""

import socket
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest
import rig
from midspan.base.errors import LinkError
from midspan.link.gauge import open_gauge
from midspan.link.loopback import LoopbackDoor, LoopbackLink, offered
from midspan.link.open_line import open_line
from midspan.link.reconnect import Reconnector
from midspan.rehearsal import process
from midspan.rehearsal.process import Rehearsal
from midspan.wire.records import Phase, State

SHAFTS = rig.perfect({"shafts": [{"number": 1}, {"number": 2, "spine_thou": 400}]})
pytestmark = pytest.mark.process


@pytest.fixture(autouse=True)
def without_terminals(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pty", None)
    monkeypatch.setitem(sys.modules, "tty", None)


@pytest.mark.parametrize("command", [process.interpreter_command(), [sys.executable]], ids=["device", "cpython"])
def test_two_hosts_one_after_the_other(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: list[str]) -> None:
    monkeypatch.setattr(process, "interpreter_command", lambda shafts: command)
    with Rehearsal(SHAFTS, tmp_path) as simulated:
        assert simulated.port.startswith("loopback:")
        with open_gauge(simulated.port) as gauge:
            assert gauge.run(1, "first", rig.CYCLE).complete
        with open_gauge(simulated.port) as gauge:  # what the first host left comes whole to the next
            found = gauge.settled()
            assert (found.state, found.held_shaft) == (State.HOLDING, 1)
            run = gauge.fetch(1, "found")
            assert run.complete
            assert run.segments[0][0] == Phase.SEATING
            gauge.acknowledge(1)
            name = found.gauge
        with Reconnector(name, simulated.port).opened() as gauge:
            assert gauge.run(2, "second", rig.CYCLE).complete


def test_the_readings_are_those_of_a_pseudo_terminal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def counts(folder: Path) -> list[int]:
        with Rehearsal(SHAFTS, folder) as simulated, open_gauge(simulated.port) as gauge:
            return list(gauge.run(2, "", rig.CYCLE).counts)

    over_socket = counts(tmp_path / "socket")
    monkeypatch.undo()
    assert counts(tmp_path / "terminal") == over_socket


def test_a_line_has_one_user_and_ends_with_its_gauge(tmp_path: Path) -> None:
    with Rehearsal(SHAFTS, tmp_path) as simulated, open_line(simulated.port):
        with pytest.raises(LinkError) as caught, open_line(simulated.port):
            pass
        assert caught.value.code == "busy"
    with pytest.raises(LinkError) as caught, open_line(simulated.port):
        pass
    assert caught.value.code == "no_such_port"


def test_a_gauge_that_cannot_start_says_why(tmp_path: Path) -> None:
    failing = Rehearsal({"gauge": {"no_such_thing": 1}}, tmp_path)
    with pytest.raises(LinkError) as caught, failing as simulated, open_gauge(simulated.port) as gauge:
        gauge.identify()
    assert caught.value.code == "simulation_ended"
    assert "no_such_thing" in str(caught.value)


@contextmanager
def calling(port: int, words: bytes) -> Iterator[socket.socket]:
    with socket.create_connection(("127.0.0.1", port)) as caller:
        caller.sendall(words)
        caller.shutdown(socket.SHUT_WR)
        yield caller


def test_only_who_says_the_word_is_the_gauge() -> None:
    with ExitStack() as stack:
        door = stack.enter_context(LoopbackDoor())
        strangers = [stack.enter_context(calling(door.port, words)) for words in (b"", b"hello\n", b"0" * 32)]
        caller = stack.enter_context(socket.create_connection(("127.0.0.1", door.port)))
        caller.sendall(door.word.encode() + b"after")
        connection = stack.enter_context(door.gauge(lambda: True))
        assert connection.getpeername() == caller.getsockname()
        assert connection.recv(100) == b"after"
        assert [stranger.recv(1) for stranger in strangers] == [b"", b"", b""]  # turned away


def test_after_the_gauge_nobody_can_call() -> None:
    with LoopbackDoor() as door, socket.create_connection(("127.0.0.1", door.port)) as caller:
        caller.sendall(door.word.encode())
        door.gauge(lambda: True).close()
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", door.port))
    with LoopbackDoor() as another:
        assert another.word != door.word


def test_a_gauge_that_has_ended_is_not_awaited() -> None:
    with LoopbackDoor() as door, pytest.raises(LinkError) as caught:
        door.gauge(lambda: False)
    assert caught.value.code == "does_not_call"


def test_a_line_that_opens_forgets_what_came_before_and_tells_of_its_end() -> None:
    near, far = socket.socketpair()
    with far, offered(near, 4711) as name:
        far.sendall(b"stale")
        with LoopbackLink(name, read_s=0) as line:
            assert line.read() == b""
            far.sendall(b"fresh")
            assert line.read() == b"fresh"
            line.write(b"order")
            assert far.recv(100) == b"order"
            far.close()
            for attempt in (line.read, lambda: line.write(b"x")):
                with pytest.raises(LinkError) as caught:
                    attempt()
                assert caught.value.code == "gone"
