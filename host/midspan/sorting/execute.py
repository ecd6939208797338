"""Carry out the actions of a night with gauge and recorder, on record before and after each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import assert_never

from midspan.link.gauge import Gauge, OnEvent, ignore
from midspan.measurement.cycle_plan import cycle_steps
from midspan.sorting import actions as act
from midspan.sorting.next_action import Snapshot, feeder_of
from midspan.sorting.recorder import NightRecorder
from midspan.store.transit import Transit, TransitStage, WayStep
from midspan.wire.records import Identify, Source


@dataclass(frozen=True, slots=True)
class Executor:
    """Carry out actions on one gauge.

    Parameters
    ----------
    gauge : Gauge
        The gauge.
    recorder : NightRecorder
        Recorder of the night.
    on_event : OnEvent
        Called with each event of the gauge.
    """

    gauge: Gauge
    recorder: NightRecorder
    on_event: OnEvent = ignore

    def execute(self, action: act.Executable, snapshot: Snapshot) -> None:
        """Carry out an action; errors of line, disk and gauge pass through, and the next action sees what was done.

        Parameters
        ----------
        action : act.Executable
            The action.
        snapshot : Snapshot
            The snapshot it was decided on.

        Raises
        ------
        MidspanError
            The line, the disk or the gauge failed.
        """
        match action:
            case act.OrderShaft(source, standard):
                self._order(source, standard, snapshot.gauge)
            case act.FeedShaft(shaft, source):
                self.gauge.feed(shaft, source, self.on_event)
            case act.AdoptShaft(shaft):
                self.gauge.feed(shaft, Source.SEATED, self.on_event)
            case act.NoteInGauge(shaft, unfit):
                self._note(shaft, TransitStage.IN_GAUGE, words=unfit)
            case act.MeasureShaft():
                self._measure(_open(snapshot), snapshot.gauge)
            case act.FetchReadings():
                self._fetch(_open(snapshot))
            case act.RescueReadings(shaft):
                self.recorder.rescue(self.gauge.fetch(shaft, "", self.on_event))
                self.gauge.acknowledge(shaft, self.on_event)
            case act.JudgeReadings():
                self.recorder.judge(_open(snapshot), snapshot.gauge)
            case act.ForgetReadings(shaft):
                self.gauge.acknowledge(shaft, self.on_event)
            case act.ReleaseShaft(_, place):
                self._release(_open(snapshot), place)
            case act.NoteInBin(_, place, passed):
                self.recorder.end(_open(snapshot), TransitStage.IN_BIN, place, passed)
            case act.NoteUncertain(_, where, words):
                self.recorder.end(_open(snapshot), TransitStage.UNCERTAIN, where, words=words)
            case act.NoteNoShaft(_, words):
                self.recorder.end(_open(snapshot), TransitStage.NO_SHAFT, words=words)
            case act.NoteTakenOut(_, words):
                self.recorder.end(_open(snapshot), TransitStage.TAKEN_OUT, words=words)
            case act.ClearFault():
                self.gauge.clear_fault(self.on_event)
            case _:
                assert_never(action)

    def _order(self, source: Source, standard: str | None, found: Identify) -> None:
        """Give a new shaft its number and feed it; the number is above all that the gauge remembers."""
        feeder = feeder_of(found)
        last = feeder.last_release
        above = max(0 if last is None else last.shaft, feeder.in_gauge or 0)
        self.gauge.feed(self.recorder.order(source.name, standard, above), source, self.on_event)

    def _measure(self, transit: Transit, found: Identify) -> None:
        """Measure a shaft, with its place in the archive noted before."""
        archive = self.recorder.archive
        archive.begin_measuring(transit.shaft)
        setup = self.recorder.setup  # a check standard is measured as the shafts are that it vouches for
        steps = cycle_steps(setup.calibration, found, setup.cycle)
        archive.keep(self.gauge.run(transit.shaft, transit.standard or "", steps, on_event=self.on_event))

    def _fetch(self, transit: Transit) -> None:
        """Fetch readings that the gauge holds, and keep them."""
        run = self.gauge.fetch(transit.shaft, transit.standard or "", self.on_event)
        self.recorder.archive.keep_held(transit, run)

    def _release(self, transit: Transit, place: int) -> None:
        """Release a shaft, with its place noted before."""
        if (transit.stage, transit.place) != (TransitStage.LEAVING, place):
            self._note(transit.shaft, TransitStage.LEAVING, place=place)
        self.gauge.release(transit.shaft, place, self.on_event)

    def _note(self, shaft: int, stage: TransitStage, *, place: int | None = None, words: str | None = None) -> None:
        """Note a step of a shaft's way."""
        self.recorder.journal.note(shaft, WayStep(stage, self.recorder.now_ms(), place=place, words=words))


def _open(snapshot: Snapshot) -> Transit:
    """Return the open shaft; actions on it are decided only while there is one."""
    assert snapshot.transit is not None
    return snapshot.transit
