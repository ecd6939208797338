"""Doing what moves.next_move says: one thing with gauge and keeper, on record before and after as a night needs it."""

from __future__ import annotations

from dataclasses import dataclass

from midspan.link.gauge import Gauge, OnEvent, ignore
from midspan.measurement.cycle_plan import plan_for
from midspan.sorting.next_action import Do, Move, Snapshot
from midspan.sorting.recorder import NightRecorder
from midspan.store.passage import Transit, TransitStage
from midspan.wire.records import Source

ENDS = {
    Do.NOTE_IN_BIN: TransitStage.IN_BIN,
    Do.NOTE_UNCERTAIN: TransitStage.UNCERTAIN,
    Do.NOTE_NO_SHAFT: TransitStage.NO_SHAFT,
    Do.NOTE_TAKEN_OUT: TransitStage.TAKEN_OUT,
}


@dataclass
class Deeds:
    """One gauge and what is kept of it."""

    gauge: Gauge
    keeper: NightRecorder
    on_event: OnEvent = ignore

    def do(self, move: Move, now: Snapshot) -> None:
        """Do it. Errors of line, disk and gauge pass through; whatever was done by then, the next move sees."""
        if move.do in ENDS:
            self.keeper.end(_open(now), ENDS[move.do], move.place, move.passed, move.words)
        else:
            getattr(self, f"_{move.do.name.lower()}")(move, now)

    def _order(self, move: Move, now: Snapshot) -> None:
        assert move.source is not None
        last = now.gauge.last_release
        above = max(0 if last is None else last.shaft, now.gauge.in_gauge or 0)
        shaft = self.keeper.order(move.source.name, move.standard, above)
        self.gauge.feed(shaft, move.source, self.on_event)

    def _feed(self, move: Move, _: Snapshot) -> None:
        assert move.shaft is not None
        assert move.source is not None
        self.gauge.feed(move.shaft, move.source, self.on_event)

    def _adopt(self, move: Move, _: Snapshot) -> None:
        assert move.shaft is not None
        self.gauge.feed(move.shaft, Source.SEATED, self.on_event)

    def _note_in_gauge(self, move: Move, now: Snapshot) -> None:
        keeper, words = self.keeper, move.words or None
        keeper.journal.note(_open(now).shaft, TransitStage.IN_GAUGE, keeper.now_ms(), words=words)

    def _measure(self, _: Move, now: Snapshot) -> None:
        passage = _open(now)
        self.keeper.archive.begin_measuring(passage.shaft)
        plan = plan_for(self.keeper.setup.calibration, now.gauge)
        self.keeper.archive.keep(self.gauge.measure(passage.shaft, passage.standard or "", plan, self.on_event))

    def _fetch(self, _: Move, now: Snapshot) -> None:
        passage = _open(now)
        self.keeper.archive.keep_held(passage, self.gauge.fetch(passage.shaft, passage.standard or "", self.on_event))

    def _rescue(self, move: Move, _: Snapshot) -> None:
        assert move.shaft is not None
        self.keeper.rescue(self.gauge.fetch(move.shaft, "", self.on_event))
        self.gauge.acknowledge(move.shaft, self.on_event)

    def _judge(self, _: Move, now: Snapshot) -> None:
        self.keeper.judge(_open(now), now.gauge)

    def _acknowledge(self, move: Move, _: Snapshot) -> None:
        assert move.shaft is not None
        self.gauge.acknowledge(move.shaft, self.on_event)

    def _release(self, move: Move, now: Snapshot) -> None:
        passage = _open(now)
        assert move.place is not None
        if (passage.stage, passage.place) != (TransitStage.LEAVING, move.place):
            self.keeper.journal.note(passage.shaft, TransitStage.LEAVING, self.keeper.now_ms(), place=move.place)
        self.gauge.release(passage.shaft, move.place, self.on_event)

    def _clear_fault(self, _: Move, __: Snapshot) -> None:
        self.gauge.clear_fault(self.on_event)


def _open(now: Snapshot) -> Transit:
    assert now.passage is not None  # such a move is made only for the open shaft
    return now.passage
