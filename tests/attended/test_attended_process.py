"""A session as a process at the simulated gauge's real line: killed with -9, its cable cut, and two of them at once.

What the device measured stands in its world's file, which no host writes.
"""

import json
import signal
import subprocess
import sys
import threading
from contextlib import ExitStack
from random import Random

import pytest
from campaign.bench import Device
from campaign.cable import Cable
from commands_rig import midspan, refusal, settings
from midspan.archive.reader import Archive
from midspan.attended import choices
from midspan.attended.bench import Hindrance
from midspan.attended.gauge_bench import CAUTION
from midspan.base.errors import ArchiveError, LinkError
from midspan.rehearsal import scenario
from midspan.store.journal import Journal
from midspan.store.place import StorePlace
from midspan.store.transit import ENDS

pytestmark = [pytest.mark.process, pytest.mark.slow]
HOST = [sys.executable, "-c", "from midspan.cli.main import main; main()"]
MEASURE = ["measure", "--calibration", "gauge.toml", "--bands", "bands.toml", "--quiet", "--port"]
PLUG_IN = choices.line_lost("").words.partition(".")[2]
AT_PROMPT = b"?: all keys): "
KILLS, CUTS = 4, 2


class Afternoon:
    """A simulated gauge at a cable, and sessions one after another; something happens at a chunk of its answers."""

    def __init__(self, folder, stack):
        self.folder, self.chunks, self.at, self.happens = folder, 0, None, lambda: None
        settings(folder)
        hand = {"places": 0, "guards": 0, "hopper": [], "world": "world.txt", "laid_in": "laid-in"}
        hand = {name: str(folder / given) if isinstance(given, str) else given for name, given in hand.items()}
        given = scenario.rehearsal(scenario.shafts(3, seed=7), seed=7) | {"feeder": hand}
        (folder / "scenario.json").write_text(json.dumps(given))
        (folder / "laid-in").write_text("2")
        self.cable = Cable(to_host=self._passes)
        stack.callback(self.cable.close)
        self.cable.plug_in(folder / "port")
        self.device = Device(folder, self.cable, 3)
        stack.callback(self.device.kill)

    def _passes(self, data):
        self.chunks += 1
        if self.chunks == self.at:
            self.happens()
        return data

    def host(self):
        return subprocess.Popen(
            [*HOST, *MEASURE, str(self.folder / "port")], cwd=self.folder, stdin=subprocess.PIPE,
            stderr=subprocess.PIPE, stdout=subprocess.DEVNULL,
        )  # fmt: skip

    def session(self, typed, at=None):
        """Run a session with these lines typed; kill it at a chunk. Return its exit status."""
        self.chunks = 0
        host = self.host()
        self.at, self.happens = at, host.kill
        _, self.told = host.communicate(typed.encode())
        self.at = None
        return host.returncode

    def measured(self):
        """Return the numbers under which the device was told to measure, from its world's file."""
        path = self.folder / "world.txt"
        lines = path.read_text().splitlines() if path.exists() else []
        return [int(line.rsplit(" ", 1)[1]) for line in lines if " measured as " in line]

    def check_books(self):
        """Check that archive and store have each measurement of the device once."""
        kept = [run.shaft for run in Archive.open(self.folder / "readings.avro").runs()]
        with StorePlace(self.folder / "results.db").open() as store:
            stored = [result.run.shaft for versions in store.versions() for result in versions]
            journal = Journal(store)
            transits = [way for run in journal.nights(attended=True) for way in journal.transits(run.id)]
        assert sorted(stored) == sorted(kept) == sorted(self.measured())
        assert all(way.stage in ENDS or way.result is None for way in transits)


@pytest.fixture
def afternoon(tmp_path):
    with ExitStack() as stack:
        yield Afternoon(tmp_path, stack)


def test_a_host_killed_at_any_instant_loses_nothing_and_the_next_moves_nothing(afternoon):
    assert afternoon.session("\n\nq\n") == 0, afternoon.told
    assert afternoon.measured() == [1, 2]
    afternoon.check_books()
    instants = Random(5).sample(range(1, afternoon.chunks), KILLS)
    killed = 0
    for instant in instants:
        killed += afternoon.session("\n\nq\n", at=instant) == -signal.SIGKILL
        before = afternoon.measured()
        assert afternoon.session("q\n") == 0, afternoon.told
        assert afternoon.measured() == before, "it moved without an Enter"
        afternoon.check_books()
    assert killed == KILLS


def test_a_cut_line_is_waited_for_and_loses_nothing(afternoon):
    assert afternoon.session("\nq\n") == 0
    instants = Random(6).sample(range(3, afternoon.chunks), CUTS)
    for instant in instants:
        afternoon.chunks = 0
        host = afternoon.host()
        afternoon.at, afternoon.happens = instant, threading.Thread(target=afternoon.cable.cut).start
        told, typed = b"", 0
        while PLUG_IN.encode() not in told:
            more = host.stderr.read1()
            assert more, told
            told += more
            if (
                PLUG_IN.encode() not in told and told.count(AT_PROMPT) > typed
            ):  # chunks come as the machine has time: it may need another shaft
                typed += 1
                host.stdin.write(b"\n")
                host.stdin.flush()
        afternoon.cable.plug_in(afternoon.folder / "port")
        before = afternoon.measured()
        _, told = host.communicate(b"\nq\n")
        assert host.returncode == 0, told
        assert afternoon.measured() == before, "it moved without an Enter"
        afternoon.check_books()


def test_a_second_session_on_the_gauge_is_refused_in_a_line(afternoon):
    host = afternoon.host()
    told = b""
    while AT_PROMPT not in told:
        told += host.stderr.read1()
    second = midspan(*MEASURE, afternoon.folder / "port", folder=afternoon.folder)
    assert refusal(second, ArchiveError).code == "in_use"
    assert CAUTION not in second.stderr
    elsewhere = midspan(*MEASURE, afternoon.folder / "port", "--archive", "other.avro", folder=afternoon.folder)
    assert refusal(elsewhere, LinkError).code == "busy"
    host.communicate(b"\nq\n")
    afternoon.check_books()


def test_the_simulated_gauge_is_a_session_for_a_newcomer(tmp_path, monkeypatch):
    settings(tmp_path)
    (tmp_path / "midspan.toml").write_text(
        '[[standard]]\nname = "bar 7"\nassigned_thou = 500.0\nu_assigned_thou = 0.2\ndefinition = "normal reactions"\n'
        "[session]\ncheck_every_shafts = 2\n"
    )
    typed = "\n\nblue 7\n\ns\n\n\nq\n"  # check, shaft, label, shaft, its stiff side, check, shaft, end with its check
    done = subprocess.run(
        [*HOST, *MEASURE, "rehearsal"], cwd=tmp_path, input=typed.encode(), capture_output=True, check=False
    )
    assert done.returncode == 0, done.stderr
    with StorePlace(tmp_path / "results.db").open() as store:
        journal = Journal(store)
        (run,) = journal.nights(attended=True)
        assert [check.good for check in journal.checks(night=run.id)] == [True, True]
        truths = {known["number"]: known for known in scenario.shafts(scenario.EXAMPLE_SHAFTS, seed=7)}
        for way in journal.transits(run.id):
            if way.standard is None:
                assert store.latest(way.shaft).result.spine_thou == pytest.approx(
                    truths[way.shaft]["spine_thou"], abs=1.0
                )


def test_what_hinders_says_if_enter_moves_the_press():
    assert [choices.hindered(Hindrance("it stopped", moves)).id for moves in (True, False)] == [
        "clear fault",
        "not ready",
    ]
