"""Run a night: greet the gauge, decide on the next action, carry it out, note it, until nothing is left to do.

Every failure has the same answer: wait a little, reopen what broke, greet, and decide again. So a running night goes on
by itself after a reset, a pulled cable or a full disk, and a new night goes on where an old one died.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass

from midspan.base.clock import Clocks
from midspan.base.errors import ArchiveError, DeviceFault, FileGone, LinkError, MidspanError, ProtocolError, StoreError
from midspan.base.log_file import Ours
from midspan.link.gauge import Gauge, OnEvent, ignore
from midspan.link.reconnect import Reconnector
from midspan.sorting.actions import (
    Action,
    CallPerson,
    ClearFault,
    EndTransit,
    Executable,
    FinishRun,
    JudgeReadings,
    OrderShaft,
    ReleaseShaft,
    action_words,
)
from midspan.sorting.check_standards import due
from midspan.sorting.event_log import EventRecorder
from midspan.sorting.execute import Executor
from midspan.sorting.next_action import Snapshot, Wanted, next_action
from midspan.sorting.notices import Kind, Notices
from midspan.sorting.recorder import NightRecorder
from midspan.sorting.retry import RetryPolicy, fault_of
from midspan.sorting.tally import NONE_IN_A_ROW
from midspan.store.transit import RunEventKind
from midspan.wire.fault_texts import describe
from midspan.wire.records import Identify, Source, State

LOG = logging.getLogger(__name__)

AS_ASKED = "you asked for it"
AT_ONCE = "you stopped it at once"
SLICE_S = 0.5  # of a pause, so that Ctrl-C acts soon
NeedsLeave = ClearFault | OrderShaft | ReleaseShaft  # a person's consent covers one of these
SAME_MOST = 6  # times that an action may have no effect
RESETS_MOST = 20  # without a shaft that is finished


@dataclass(frozen=True)
class Ending:
    """The end of a run.

    Parameters
    ----------
    is_over : bool
        True if the night is over, False if it stopped and can go on.
    words : str
        Reason, for people.
    options : str
        Options for the command that goes on, empty for none.
    """

    is_over: bool
    words: str
    options: str = ""


@dataclass
class Watcher:
    """People and programs that follow a night.

    Parameters
    ----------
    notices : Notices
        Notices to the addresses in the plan.
    ask : Callable[[str], bool] | None
        Asks a person to do something, returns True once it was done; None if nobody is there.
    show : Callable[[Action], None]
        Called with every action that was carried out.
    hear : OnEvent
        Called with every event of the gauge.
    stop_requested : Callable[[], bool]
        Returns True if the run was asked to end from elsewhere.
    """

    notices: Notices
    ask: Callable[[str], bool] | None = None
    show: Callable[[Action], None] = lambda action: None
    hear: OnEvent = ignore
    stop_requested: Callable[[], bool] = lambda: False


class SortingLoop:
    """One run of sorting. Call `run` once; `finish` may be called at any time, also from a signal.

    Parameters
    ----------
    recorder : NightRecorder
        Recorder of the night.
    reconnector : Reconnector
        Opens the gauge, on another port if it moved.
    watcher : Watcher
        People and programs that follow the night.
    clocks : Clocks
        Clocks, so that tests need not wait.
    """

    def __init__(self, recorder: NightRecorder, reconnector: Reconnector, watcher: Watcher, clocks: Clocks) -> None:
        self._recorder, self._reconnector, self._watcher, self._clocks = recorder, reconnector, watcher, clocks
        self._plan = recorder.setup.plan
        self._events = EventRecorder(recorder, watcher.notices, clocks)
        self._retry = RetryPolicy(60 * self._plan.stop.wait_minutes)
        self._asked = self._stopping = ""
        self._refused: DeviceFault | None = None
        self._person = False
        self._same: tuple[object, int] = (None, 0)
        self._begun_s = clocks.count_s()
        self._checks_before = len(recorder.checks)

    def finish(self) -> None:
        """Ask the run to finish the shaft in hand, check once more, and end."""
        self._asked = AS_ASKED

    def looked_after(self) -> None:
        """Note that a person looked at the gauge: its fault may be cleared, once."""
        self._person = True

    def emptied(self, place: int) -> None:
        """Note that a person emptied a place.

        Parameters
        ----------
        place : int
            Its number.
        """
        self._events.emptied(place)

    def run(self) -> Ending:
        """Sort until nothing is left to do or a person is needed.

        Returns
        -------
        Ending
            How the run ended.
        """
        try:
            ending = self._until_ended()
        except KeyboardInterrupt:
            ending = Ending(False, AT_ONCE)
        finally:
            self._recorder.close()
        LOG.info("the run is %s: %s", Ours("over" if ending.is_over else "stopped"), ending.words)
        self._events.note(RunEventKind.ENDED if ending.is_over else RunEventKind.STOPPED, ending.words)
        if ending.is_over:
            words = self._recorder.account().words(self._recorder.setup.plan)
            self._watcher.notices.tell(Kind.FINISHED, f"{ending.words}; {words}")
        else:
            self._watcher.notices.tell(Kind.STOPPED, ending.words)
        return ending

    def _until_ended(self) -> Ending:
        """Run with the gauge, open it again whenever the line fails, and return the ending."""
        while True:
            try:
                with self._reconnector.opened() as gauge:
                    return self._with(gauge)
            except (LinkError, ProtocolError) as error:
                ending = self._wait_for(error)
            if ending is not None:
                return ending

    def _with(self, gauge: Gauge) -> Ending:
        """Carry out action after action on an open gauge until the run ends."""
        executor = Executor(gauge, self._recorder, self._watcher.hear)
        try:
            while True:
                ending = self._tried(gauge, executor)
                if ending is not None:
                    return ending
        except KeyboardInterrupt:
            with suppress(MidspanError):
                gauge.stop()  # the head goes up, and the readings so far wait in the gauge
            raise

    def _tried(self, gauge: Gauge, executor: Executor) -> Ending | None:
        """Carry out one action; a refusal or a failed disk is answered, an error of the line is let out."""
        try:
            return self._step(gauge, executor)
        except DeviceFault as error:
            LOG.warning("the gauge refused: %s", error)
            self._refused = error  # the next answer says whether it is FAULTED
            return None
        except FileGone as error:  # only a person can bring it back
            self._recorder.close()
            return self._call(CallPerson(str(error)), fault_of(error))
        except (ArchiveError, StoreError) as error:
            self._recorder.close()
            return self._wait_for(error)

    def _step(self, gauge: Gauge, executor: Executor) -> Ending | None:
        """Greet, decide and carry out one action; return the ending, or None to go on."""
        found = gauge.settled()
        self._events.look(found)
        refused, self._refused = self._refused, None
        if refused and found.state is not State.FAULTED:
            return self._call(CallPerson(str(refused)), refused.code)
        self._recorder.note_changes()
        snapshot = self._recorder.snapshot(found, self._wanted(found))
        action = next_action(snapshot)
        if isinstance(action, FinishRun):
            return Ending(not self._stops() and self._asked == "", action.words)
        if isinstance(action, CallPerson):
            return self._call(action)
        if self._same[1] >= SAME_MOST or self._events.resets > RESETS_MOST:
            newest = self._events.newest
            why = "the gauge is reset again and again" if newest is None else describe(newest)
            words = f"no progress: {action_words(action)} had no effect {self._same[1]} times: {why}"
            return self._call(CallPerson(words, shaft=_shaft_of(action)))
        if isinstance(action, ReleaseShaft) and snapshot.route is not None and snapshot.route.full:
            self._events.full(snapshot.route.full, snapshot.route.words)
        self._person = self._person and not isinstance(action, NeedsLeave)
        LOG.debug("to do: %s", Ours(action_words(action)))
        executor.execute(action, snapshot)
        self._went_well(action, snapshot)
        return None

    def _went_well(self, action: Executable, snapshot: Snapshot) -> None:
        """Note that an action was carried out, and count how often the same action had no effect."""
        self._retry.clear()
        LOG.info("done: %s, shaft %s", Ours(action_words(action)), _shaft_of(action))
        if isinstance(action, JudgeReadings):
            self._events.judged()
        if isinstance(action, EndTransit):
            self._events.resets, self._events.newest = 0, None
        gauge, stage = snapshot.gauge, None if snapshot.transit is None else snapshot.transit.stage
        same = (action, stage, gauge.boot, gauge.state, gauge.fault)
        self._same = (same, self._same[1] + 1 if self._same[0] == same else 1)
        self._watcher.show(action)

    # What is wanted

    def _wanted(self, found: Identify) -> Wanted:
        """Return what is wanted now besides the next shaft: an end, a check, a person's consent."""
        recorder = self._recorder
        self._listen()
        finish = self._asked or self._stops() or recorder.tally.planned_end(self._hours())
        standard = None
        if recorder.tally.in_a_row["none"] < NONE_IN_A_ROW and not self._bad_check():
            ending = bool(finish) or found.feeder is None or not found.feeder.hopper
            standard = due(self._plan, recorder.checks_in_force, recorder.shafts, self._clocks.now_ms(), ending=ending)
        return Wanted(
            finish=finish,
            standard=None if standard is None else standard.name,
            standard_source=Source.SEATED if standard is not None and standard.from_ == "hand" else Source.SLOT,
            person=self._person,
            attended=self._watcher.ask is not None,
        )

    def _listen(self) -> None:
        """Finish if the run was asked to end from elsewhere."""
        if not self._asked and self._watcher.stop_requested():
            self.finish()

    def _stops(self) -> str:
        """Return the reason for an unplanned stop, empty for none.

        A good check before it ends does not take it back.
        """
        self._stopping = self._stopping or self._recorder.tally.trouble() or self._bad_check()
        return self._stopping

    def _bad_check(self) -> str:
        """Return the failed check of this run that ends it, empty for none.

        A failed check from before is repeated first.
        """
        bad = [check for check in self._recorder.checks[self._checks_before :] if not check.good]
        if not bad or self._plan.checks.bad_check == "continue":
            return ""
        return f"check standard {bad[0].standard} was out of control: {'; '.join(bad[0].reasons)}"

    def _hours(self) -> float:
        """Return how long this run has lasted, in hours."""
        return (self._clocks.count_s() - self._begun_s) / 3600

    # What is not as it should be

    def _call(self, call: CallPerson, code: str | None = None) -> Ending | None:
        """Wait for a person who is there, or return the ending from which a person can go on.

        `code` is the code of the gauge's refusal, for which nothing is to be cleared.
        """
        LOG.warning("a person is needed, code %s, shaft %s: %s", call.code or code, call.shaft, call.words)
        if call.full:
            self._events.full(call.full, call.words)
        else:
            self._events.note(RunEventKind.FAULT, call.words, call.code or code, call.shaft)
            self._watcher.notices.tell(Kind.NEEDS_PERSON, call.words)
        if self._watcher.ask is None or not self._watcher.ask(call.words):
            options = "".join(f" --emptied {place}" for place in call.full)
            return Ending(False, call.words, options or (" --clear-fault" if call.code else ""))
        self.looked_after()
        self._same, self._events.resets = (None, 0), 0
        for place in call.full:
            self.emptied(place)
        return None

    def _wait_for(self, error: MidspanError) -> Ending | None:
        """Wait before the next try; return the ending if the failure has lasted too long."""
        now_s = self._clocks.count_s()
        words, code = str(error), fault_of(error)
        pause_s = self._retry.pause_s(now_s)
        LOG.warning("tries again after %s s, since %.1f s: %s", pause_s, self._retry.lasts_s(now_s), error)
        if pause_s is None or self._asked:
            self._events.note(RunEventKind.FAULT, words, code)
            return Ending(False, words)
        if isinstance(error, LinkError):
            self._events.line_error = words  # the next answer says whether it was a reset
        elif self._retry.lasts_s(now_s) == 0:
            self._events.note(RunEventKind.FAULT, words, code)
        if self._retry.calls_now(now_s):
            self._watcher.notices.tell(Kind.NEEDS_PERSON, words)
        while pause_s > 0 and not self._asked:
            self._clocks.sleep(min(SLICE_S, pause_s))
            pause_s -= SLICE_S
            with suppress(StoreError):  # the pause may be because of the database
                self._listen()
        return None


def _shaft_of(action: Executable) -> int | None:
    """Return the number of the shaft an action is about, None for an action without a shaft."""
    return None if isinstance(action, OrderShaft | ClearFault) else action.shaft
