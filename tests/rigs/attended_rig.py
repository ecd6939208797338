"""A session on a pretended gauge: a scripted person who goes by prompt ids, and every way to die in it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import contextmanager
from pathlib import Path
from unittest import mock

from gauges import changed
from midspan.archive.reader import Archive
from midspan.archive.writer import ArchiveWriter
from midspan.attended.gauge_bench import GaugeBench, GaugeWays
from midspan.attended.record import SessionRecord
from midspan.attended.rules import SessionRules
from midspan.attended.session import AttendedSession
from midspan.conversation.desk import Desk, NoticeKind, Posted
from midspan.decision.bands import EXAMPLE, Bands
from midspan.store.journal import Journal
from midspan.store.place import StorePlace
from midspan.wire.records import State
from night_rig import PretendReconnector, Time
from pretend import Axe, KilledError, PretendGauge, World
from synthetic import paper_calibration

BANDS = Bands.model_validate({**EXAMPLE, "rule": {"kind": "simple"}})


class HandGauge(PretendGauge):
    """A pretended gauge without a feeder: what lies on its rollers is measured; a lid that is open refuses."""

    def _identify(self):
        return changed(super()._identify(), feeder=None)  # type: ignore[arg-type]

    identify = PretendGauge.settled

    def run(self, shaft, label, steps, stand=False, on_event=None):
        self.state, self.in_gauge = (State.LOADED, shaft) if self.state is State.IDLE else (self.state, self.in_gauge)
        try:
            return super().run(shaft, label, steps, stand, on_event)
        finally:
            self.in_gauge = None
            if self.state is State.LOADED:
                self.state = State.IDLE


def gauge_named(gauge):
    """Return a block that yields the gauge; raises as often as it is gone."""
    return PretendReconnector(gauge)


class Person:
    """Answers prompts at a desk: a list of (prompt id, what is typed), or what a function returns for each prompt.

    With a list, a prompt of another id fails the test; at its end the person leaves. `before` is called with each
    prompt first, as a hand that lays a shaft in.
    """

    def __init__(
        self,
        script: Iterable[tuple[str, str]] | Callable[[Posted], str],
        before: Callable[[Posted, str], None] = lambda posted, typed: None,
    ) -> None:
        self.desk = Desk()
        self.asked: list[str] = []
        self.prompts: list[Posted] = []
        self._script = script if callable(script) else list(script)
        self._before = before
        self.desk.watch(self._seen)

    def _seen(self, shown) -> None:
        if not isinstance(shown, Posted):
            return
        self.asked.append(shown.prompt.id)
        self.prompts.append(shown)
        if callable(self._script):
            typed = self._script(shown)
        elif not self._script:
            self.desk.leave("the test is over")
            return
        else:
            expected, typed = self._script.pop(0)
            assert shown.prompt.id == expected, f"asked {shown.prompt.id}, the script has {expected}"
        self._before(shown, typed)
        self.desk.answer(shown.serial, typed)

    def told(self, kind: NoticeKind) -> list[str]:
        """Return the words of the notices of a kind."""
        return [notice.words for notice in self.desk.notices() if notice.kind is kind]


class AttendedRig:
    """A folder, physical shafts with a gauge, and as many sessions one after another as it takes."""

    def __init__(self, folder: Path, spines: dict[str, float], *, standards=(), checks=None) -> None:
        self.folder = folder
        self.world = World(spines, list(spines))
        self.gauge = HandGauge(self.world)
        self.line = gauge_named(self.gauge)
        self.time = Time()
        self.place = StorePlace(folder / "results.db")
        self.archive = folder / "readings.avro"
        rules = {} if checks is None else {"checks": checks}
        self.rules = SessionRules(BANDS, "c1", tuple(standards), operator="Ann", **rules)
        self.laid: list[str] = list(spines)  # still to be laid in

    def lay_in(self, posted: Posted, typed: str) -> None:
        """Lay the next shaft in before the Enter that measures it, as a person does."""
        if posted.prompt.id == "lay next" and typed == "" and self.laid:
            self.world.rollers = [self.laid.pop(0)]

    def session(self, script, *, axe: Axe | None = None, tools=None, before=None) -> Person:
        """Run a session to its end, or until the axe falls; return the person with what was asked and told."""
        person = Person(script, before or self.lay_in)
        self.gauge.axe = axe or Axe()
        try:
            with self.place.open(wait_s=0.0) as store, ArchiveWriter(self.archive) as archive, self._axed(store):
                calibration = paper_calibration()
                ways = GaugeWays(self.line.opened, calibration, archive, calibration.usual_cycle)
                bench = GaugeBench("paper", ways)
                bench.connect()
                record = SessionRecord(store, "paper", self.rules, self.time.now_ms)
                self.tally = AttendedSession(person.desk, bench, record, tools).run()
        except KilledError:
            pass
        finally:
            self.gauge.axe = Axe()
        return person

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
            axe.fall(self.gauge)
            return offset

        with mock.patch.object(store, "transaction", transaction), mock.patch.object(ArchiveWriter, "append", appended):
            yield

    # What is on record

    @contextmanager
    def store(self):
        with self.place.open() as store:
            yield store

    def results(self):
        """Return number of shaft and spine of every stored result, in the order they were stored."""
        with self.store() as store:
            rows = [stored for versions in store.versions() for stored in versions]
        return [(row.run.shaft, row.result) for row in sorted(rows, key=lambda row: row.id)]

    def kept(self) -> list[int]:
        """Return the number of each run in the archive."""
        return [run.shaft for run in Archive.open(self.archive).runs()] if self.archive.exists() else []

    def transits(self):
        with self.store() as store:
            journal = Journal(store)
            return [way for run in journal.nights(attended=True) for way in journal.transits(run.id)]
