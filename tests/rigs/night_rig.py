"""A night on a pretended gauge: the real loop, recorder, journal, store and archive, and every way to die in it."""

from __future__ import annotations

import hashlib
from collections import Counter
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from unittest import mock

from midspan.archive.reader import Archive
from midspan.archive.writer import ArchiveWriter
from midspan.base.clock import Clocks
from midspan.base.errors import LinkError
from midspan.decision.bands import EXAMPLE as BANDS
from midspan.decision.bands import Bands
from midspan.decision.decision import Outcome
from midspan.sorting.loop import SortingLoop, Watcher
from midspan.sorting.plan import SortPlan
from midspan.sorting.recorder import NightRecorder
from midspan.sorting.setup import Setup
from midspan.store.journal import Journal
from midspan.store.transit import TransitStage
from pretend import STANDARD, KilledError, PretendGauge, World
from synthetic import paper_calibration

STIFFER, SOFTER, RECHECK, REJECTED, RETURN, CRACKED = range(1, 7)
PLAN = {
    "gauge": {"name": "paper", "port": "nowhere", "calibration": "gauge.toml"},
    "sort": {"bands": "bands.toml", "crack_hysteresis_pct": 1.5, "archive": "night.avro", "store": "night.db"},
    "place": [
        {"number": STIFFER, "bin": "500", "holds": 40},
        {"number": SOFTER, "bin": "510", "holds": 40},
        {"number": RECHECK, "use": "recheck", "holds": 40},
        {"number": REJECTED, "use": "rejected", "holds": 40},
        {"number": RETURN, "use": "standard"},
        {"number": CRACKED, "use": "cracked", "holds": 10},
    ],
}
BAR = {"name": "bar 7", "assigned_thou": 500.0, "u_assigned_thou": 0.1, "definition": "normal reactions"}


class Recorder:
    """Notices that go nowhere; `told` keeps them."""

    def __init__(self):
        self.told, self.failures = [], []

    def tell(self, kind, words):
        self.told.append((kind.value, words))

    def take_failures(self):
        taken, self.failures = self.failures, []
        return taken


class PretendReconnector:
    """Opens a pretended gauge; raises LinkError as often as `gone` says."""

    def __init__(self, gauge):
        self.gauge, self.gone, self.opens = gauge, 0, 0

    @contextmanager
    def opened(self):
        self.opens += 1
        if self.gone:
            self.gone -= 1
            raise LinkError("pretended: there is no such port")
        yield self.gauge


@dataclass
class Time:
    """A clock that goes on by half a second each time it is read, and by every sleep."""

    wall_s: float = 1_000_000.0
    count_s: float = 0.0
    slept: list = field(default_factory=list)

    def clocks(self):
        return Clocks(self.now_ms, self.count, self.sleep)

    def now_ms(self):
        self.wall_s += 0.5
        self.count_s += 0.5
        return round(1000 * self.wall_s)

    def count(self):
        return self.count_s

    def sleep(self, seconds):
        self.slept.append(seconds)
        self.wall_s += seconds
        self.count_s += seconds


def plan_with(**changes):
    """Return the plan with keys of its sections replaced; place and standard are lists and replaced whole."""
    whole = {**PLAN, **{name: value for name, value in changes.items() if isinstance(value, list)}}
    for name, value in changes.items():
        if isinstance(value, dict):
            whole[name] = {**whole.get(name, {}), **value}
    return SortPlan.model_validate(whole)


class Rig:
    """A folder, a world with its gauge, and as many hosts one after another as it takes."""

    def __init__(self, folder: Path, world, plan=None, ask=None):
        self.folder, self.world, self.ask = folder, world, ask
        self.gauge = PretendGauge(world)
        self.reconnector = PretendReconnector(self.gauge)
        self.time, self.notices = Time(), Recorder()
        bands = Bands.model_validate({**BANDS, "rule": {"kind": "simple"}})
        self.setup = Setup(plan or plan_with(standard=[BAR]), paper_calibration(), bands, folder)
        self.shown = []

    def sort(self, axe=None, before=lambda night: None, *, again=None):
        """Run one host, which begins a night or goes on with the last; return its ending, None if it was killed."""
        if axe is not None:
            self.gauge.axe = axe
        try:
            with self.setup.store.open(wait_s=0.0) as store, self._axed(store):
                recorder = self.recorder(store, again=again)
                night = SortingLoop(
                    recorder, self.reconnector, Watcher(self.notices, self.ask, self.shown.append), self.time.clocks()
                )
                before(night)
                return night.run()
        except KilledError:
            return None
        finally:
            self.gauge.axe = type(self.gauge.axe)()

    def recorder(self, store, *, again=None):
        journal = Journal(store)
        nights = journal.nights("paper")
        if not nights or again is False:
            journal.begin_night("paper", self.setup.as_json(), self.time.now_ms())
        return NightRecorder(self.setup, store, journal.nights("paper")[-1], self.time.now_ms)

    @contextmanager
    def _axed(self, store):
        """Die before and after everything that becomes durable."""
        axe, whole, append = self.gauge.axe, store.transaction, ArchiveWriter.append

        @contextmanager
        def transaction():
            with whole() as session:
                yield session
                axe.fall(self.gauge)
            axe.fall(self.gauge)

        def appended(writer, run):
            axe.fall(self.gauge)
            offset = append(writer, run)
            if axe.count + 1 == axe.k:  # the power fails in the middle of the write
                writer._file.truncate(offset + (writer._file.seek(0, 2) - offset) // 2)
            axe.fall(self.gauge)
            return offset

        with mock.patch.object(store, "transaction", transaction), mock.patch.object(ArchiveWriter, "append", appended):
            yield

    # What the world and the files say

    @contextmanager
    def journal(self):
        with self.setup.store.open() as store:
            yield Journal(store)

    def transits(self):
        with self.journal() as journal:
            return [transit for night in journal.nights() for transit in journal.transits(night.id)]

    def events(self, kind=None):
        with self.journal() as journal:
            found = [event for night in journal.nights() for event in journal.events(night.id)]
        return [event for event in found if kind is None or event.kind is kind]

    def check_ledger(self):
        """Check against the world that each physical shaft lies in one place, where the journal says.

        Return how many are unsure.
        """
        world, transits = self.world, self.transits()
        assert not any(way.is_open for way in transits)
        ended = {way.shaft: way for way in transits if way.shaft in world.numbers}
        fed = [name for number in ended for name in world.numbers.get(number, [])]
        stock = [name for name in world.spines if name != STANDARD]
        assert sorted(name for name in fed if name != STANDARD) == sorted(set(stock) - set(world.hopper))
        uncertain = 0
        for number, transit in ended.items():
            for name in world.numbers[number]:
                self._check_one(name, transit)
            uncertain += transit.stage is TransitStage.UNCERTAIN
        self._check_counts(ended.values())
        self._check_verdicts()
        return uncertain

    def _check_one(self, name, transit):
        if name == STANDARD:
            return
        place = self.world.went[name]
        assert transit.stage in (TransitStage.IN_BIN, TransitStage.UNCERTAIN), (name, transit)
        assert transit.place == place, (name, place, transit)
        if place in (STIFFER, SOFTER):  # an accepted shaft truly belongs to its bin
            low, high = {STIFFER: (495.0, 505.0), SOFTER: (505.0, 515.0)}[place]
            assert low - 0.5 < self.world.spines[name] < high + 0.5
            assert self.world.hysteresis.get(name, 0.0) < 0.015
        if place != RECHECK:
            assert transit.result is not None

    def _check_counts(self, ended):
        counted = Counter()
        for transit in ended:
            if transit.stage is TransitStage.IN_BIN and transit.place != RETURN:
                counted[transit.place] += transit.passed
        truly = Counter(place for place in self.world.went.values())
        doubtful = {transit.place for transit in ended if transit.stage is TransitStage.UNCERTAIN}
        assert {p: n for p, n in counted.items() if p not in doubtful} == {
            p: n for p, n in truly.items() if p not in doubtful
        }

    def _check_verdicts(self):
        archive = Archive.open(self.setup.archive)
        runs = list(archive.runs())
        archive.check()
        seen = Counter((run.shaft, run.boot, hashlib.sha256(run.counts.tobytes()).hexdigest()) for run in runs)
        assert set(seen.values()) <= {1}, "readings were stored twice"
        with self.setup.store.open() as store:
            stored = [version for versions in store.versions() for version in versions]
            assert len(stored) == len({result.run for result in stored}), "a run was judged twice"
            for result in stored:
                assert archive.run_at(result.run.byte_offset).shaft == result.run.shaft
                if result.decision.outcome is Outcome.ACCEPTED:
                    assert archive.run_at(result.run.byte_offset).complete


def another(world):
    """Return the same world before anything happened."""
    return replace(
        world, hopper=list(world.hopper), rollers=[], went={}, numbers={},
        cut_short={name: list(causes) for name, causes in world.cut_short.items()},
    )  # fmt: skip


SPINES = {"stiff": 499.0, "soft": 508.0, "wrong": 560.0, "cracked": 501.0, STANDARD: 500.0}


def a_world(**changes):
    given = {"spines": SPINES, "hopper": list(SPINES)[:-1], "slot": STANDARD, "hysteresis": {"cracked": 0.03}}
    return World(**{**given, **changes})
