"""A night: greet the gauge, ask what to do next, do it, note it, and again, until nothing is left to do.

Whatever fails, the answer is the same: wait a little, open anew what broke, greet, and ask again. So a running night
goes on by itself after a reset, a pulled cable or a full disk, and a new one goes on where an old one died.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass

from midspan.base.errors import ArchiveError, DeviceFault, FileGone, LinkError, MidspanError, ProtocolError, StoreError
from midspan.link.gauge import Gauge, OnEvent, ignore
from midspan.link.reconnect import Reconnector
from midspan.sorting.check_standards import due
from midspan.sorting.event_log import Clocks, EventRecorder, RetryPolicy, fault_of
from midspan.sorting.execute import ENDS, Deeds
from midspan.sorting.next_action import Do, Move, Snapshot, Wanted, next_move
from midspan.sorting.notices import Kind, Notices
from midspan.sorting.recorder import NightRecorder
from midspan.sorting.tally import NONE_IN_A_ROW
from midspan.store.passage import RunEventKind
from midspan.wire.fault_texts import describe
from midspan.wire.records import Identify, Source, State

AS_ASKED = "you asked for it"
AT_ONCE = "you stopped it at once"
SLICE_S = 0.5  # of a pause, so that Ctrl-C is heard soon
USES_LEAVE = (Do.CLEAR_FAULT, Do.ORDER, Do.RELEASE)  # a person's, which holds for one of them
SAME_MOST = 6  # times that a move may come to nothing
RESETS_MOST = 20  # while no shaft comes to its end


@dataclass(frozen=True)
class Ending:
    """How a night ended: over, or stopped so that it can go on, and why; `options` are those of the next command."""

    is_over: bool
    words: str
    options: str = ""


@dataclass
class Watcher:
    """Who sees a night: `ask` puts something to a person and says whether it was done (None: nobody is there),
    `show` is told of every move that was made, `hear` of all that the gauge says while it works, `wished` says whether
    somebody asked from elsewhere that it ends, `notices` goes out to whom the plan names."""

    notices: Notices
    ask: Callable[[str], bool] | None = None
    show: Callable[[Move], None] = lambda move: None
    hear: OnEvent = ignore
    wished: Callable[[], bool] = lambda: False


class SortingLoop:
    """One run of sorting; `run` it once. `finish` may be called at any time, also from a signal."""

    def __init__(self, keeper: NightRecorder, reach: Reconnector, watcher: Watcher, clocks: Clocks) -> None:
        self._keeper, self._reach, self._watcher, self._clocks = keeper, reach, watcher, clocks
        self._plan = keeper.setup.plan
        self._lookout = EventRecorder(keeper, watcher.notices, clocks)
        self._troubles = RetryPolicy(60 * self._plan.stop.wait_minutes)
        self._asked = self._stopping = ""
        self._refused: DeviceFault | None = None
        self._person = False
        self._same: tuple[object, int] = (None, 0)
        self._begun_s = clocks.count_s()
        self._checks_before = len(keeper.checks)

    def finish(self) -> None:
        """Finish the shaft in hand, check once more, and end."""
        self._asked = AS_ASKED

    def looked_after(self) -> None:
        """A person looked at the gauge: its fault may be cleared, once."""
        self._person = True

    def emptied(self, place: int) -> None:
        """A person emptied a place."""
        self._lookout.emptied(place)

    def run(self) -> Ending:
        """Sort until nothing is left to do or someone must come."""
        try:
            ending = self._until_ended()
        except KeyboardInterrupt:
            ending = Ending(False, AT_ONCE)
        finally:
            self._keeper.close()
        self._lookout.note(RunEventKind.ENDED if ending.is_over else RunEventKind.STOPPED, ending.words)
        if ending.is_over:
            self._watcher.notices.tell(Kind.FINISHED, f"{ending.words}; {self._keeper.tally.words()}")
        else:
            self._watcher.notices.tell(Kind.STOPPED, ending.words)
        return ending

    def _until_ended(self) -> Ending:
        while True:
            try:
                with self._reach.opened() as gauge:
                    return self._with(gauge)
            except (LinkError, ProtocolError) as error:
                ending = self._wait_for(error)
            if ending is not None:
                return ending

    def _with(self, gauge: Gauge) -> Ending:
        deeds = Deeds(gauge, self._keeper, self._watcher.hear)
        try:
            while True:
                ending = self._tried(gauge, deeds)
                if ending is not None:
                    return ending
        except KeyboardInterrupt:
            with suppress(MidspanError):
                gauge.stop()  # the head goes up, and what was read so far waits in the gauge
            raise

    def _tried(self, gauge: Gauge, deeds: Deeds) -> Ending | None:
        try:
            return self._step(gauge, deeds)
        except DeviceFault as error:
            self._refused = error  # the next answer says whether it is FAULTED
            return None
        except FileGone as error:  # nobody but a person brings it back
            self._keeper.close()
            return self._call(Move(Do.CALL_PERSON, words=str(error)), fault_of(error))
        except (ArchiveError, StoreError) as error:
            self._keeper.close()
            return self._wait_for(error)

    def _step(self, gauge: Gauge, deeds: Deeds) -> Ending | None:
        found = gauge.settled()
        self._lookout.look(found)
        refused, self._refused = self._refused, None
        if refused and found.state is not State.FAULTED:
            return self._call(Move(Do.CALL_PERSON, words=str(refused)), refused.code)
        self._keeper.note_changes()
        now = self._keeper.situation(found, self._wanted(found))
        move = next_move(now)
        if move.do is Do.FINISH:
            return Ending(not self._stops() and self._asked == "", move.words)
        if move.do is Do.CALL_PERSON:
            return self._call(move)
        if self._same[1] >= SAME_MOST or self._lookout.resets > RESETS_MOST:
            why = "or it is reset over and over" if self._lookout.newest is None else describe(self._lookout.newest)
            words = f"the gauge does not get on: {move.do.name} comes to nothing, {why}"
            return self._call(Move(Do.CALL_PERSON, move.shaft, words=words))
        if move.do is Do.RELEASE and now.course is not None and now.course.full:
            self._lookout.full(now.course.full, now.course.words)
        self._person = self._person and move.do not in USES_LEAVE
        deeds.do(move, now)
        self._went_well(move, now)
        return None

    def _went_well(self, move: Move, now: Snapshot) -> None:
        self._troubles.clear()
        if move.do is Do.JUDGE:
            self._lookout.judged()
        if move.do in ENDS:
            self._lookout.resets, self._lookout.newest = 0, None
        gauge, stage = now.gauge, None if now.passage is None else now.passage.stage
        same = (move, stage, gauge.boot, gauge.state, gauge.fault)
        self._same = (same, self._same[1] + 1 if self._same[0] == same else 1)
        self._watcher.show(move)

    # What is wanted

    def _wanted(self, found: Identify) -> Wanted:
        keeper = self._keeper
        self._listen()
        finish = self._asked or self._stops() or keeper.tally.planned_end(self._hours())
        standard = None
        if keeper.tally.in_a_row["none"] < NONE_IN_A_ROW and not self._bad_check():
            ending = bool(finish) or not found.hopper
            standard = due(self._plan, keeper.checks_in_force, keeper.shafts, self._clocks.now_ms(), ending=ending)
        return Wanted(
            finish=finish,
            standard=None if standard is None else standard.name,
            standard_source=Source.SEATED if standard is not None and standard.from_ == "hand" else Source.SLOT,
            person=self._person,
            attended=self._watcher.ask is not None,
        )

    def _listen(self) -> None:
        if not self._asked and self._watcher.wished():
            self.finish()

    def _stops(self) -> str:
        """Why the run is to stop; the check standard that is measured before it does makes nothing good again."""
        self._stopping = self._stopping or self._keeper.tally.trouble() or self._bad_check()
        return self._stopping

    def _bad_check(self) -> str:
        """Why a check of this run ends it; a bad one from before is made again first."""
        bad = [one for one in self._keeper.checks[self._checks_before :] if not one.good]
        if not bad or self._plan.checks.bad_check == "continue":
            return ""
        return f"check standard {bad[0].standard} was out of control: {'; '.join(bad[0].reasons)}"

    def _hours(self) -> float:
        return (self._clocks.count_s() - self._begun_s) / 3600

    # What is not as it should be

    def _call(self, move: Move, code: str | None = None) -> Ending | None:
        """A person is needed: wait for one who is there, or end so that one who comes can go on.

        `code` is that of what the gauge refused to move for; nothing is to be cleared then.
        """
        if move.full:
            self._lookout.full(move.full, move.words)
        else:
            self._lookout.note(RunEventKind.FAULT, move.words, move.code or code, move.shaft)
            self._watcher.notices.tell(Kind.NEEDS_PERSON, move.words)
        if self._watcher.ask is None or not self._watcher.ask(move.words):
            options = "".join(f" --emptied {place}" for place in move.full)
            return Ending(False, move.words, options or (" --clear-fault" if move.code else ""))
        self.looked_after()
        self._same, self._lookout.resets = (None, 0), 0
        for place in move.full:
            self.emptied(place)
        return None

    def _wait_for(self, error: MidspanError) -> Ending | None:
        now_s = self._clocks.count_s()
        words, code = str(error), fault_of(error)
        pause_s = self._troubles.pause_s(now_s)
        if pause_s is None or self._asked:
            self._lookout.note(RunEventKind.FAULT, words, code)
            return Ending(False, words)
        if isinstance(error, LinkError):
            self._lookout.line_error = words  # the next answer says whether it was a reset
        elif self._troubles.lasts_s(now_s) == 0:
            self._lookout.note(RunEventKind.FAULT, words, code)
        if self._troubles.calls_now(now_s):
            self._watcher.notices.tell(Kind.NEEDS_PERSON, words)
        while pause_s > 0 and not self._asked:
            self._clocks.sleep(min(SLICE_S, pause_s))
            pause_s -= SLICE_S
            with suppress(StoreError):  # the database may be what is waited for
                self._listen()
        return None
