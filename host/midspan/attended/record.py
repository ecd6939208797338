"""Journal and verdicts of a session: what was ordered, measured and judged, so that a broken session loses nothing.

A shaft that is laid in gets the next number before anything moves. A shaft that was measured before keeps its number:
its new measurement supersedes the old one, and an event of the run stands for the order.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from midspan.attended.bench import AttendedResult, MeasuredShaft, RunFacts, ShaftOrder
from midspan.attended.rules import SessionRules
from midspan.decision.basis import Basis, basis_of_bands
from midspan.decision.decision import Decision, judge
from midspan.hand_bench.result import HandResult
from midspan.sorting.check_standards import checked, due, good_since, in_doubt, verdict_on_check
from midspan.sorting.plan import Standard
from midspan.sorting.verdict import basis_of_standard
from midspan.store.database import Store
from midspan.store.detail_kinds import DetailKind
from midspan.store.details import current, details_of, say_of
from midspan.store.evaluation import Evaluation, Origin, RunReference
from midspan.store.journal import Journal
from midspan.store.records import Records
from midspan.store.transit import (
    NightOnRecord,
    RunEvent,
    RunEventKind,
    RunFindings,
    StandardCheck,
    Transit,
    TransitStage,
    WayStep,
)
from midspan.store.voids import void
from midspan.wire.records import FaultCode

SOURCE = "HAND"
AGAIN = "AGAIN"  # code of the event before a shaft is measured again under the number it has
NOT_MEASURED = "it was not measured"
NOTHING_THERE = "no shaft was in the gauge"


class SessionRecord:
    """Journal and verdicts of one session; the `Recorder` of its bench.

    The run begins with its first shaft: a session in which nothing is measured leaves no trace.

    Parameters
    ----------
    store : Store
        Database opened to write.
    bench : str
        Name of the gauge or hand bench.
    rules : SessionRules
        What is judged by.
    now_ms : Callable[[], int]
        Returns the time, ms since 1970 UTC.
    """

    def __init__(self, store: Store, bench: str, rules: SessionRules, now_ms: Callable[[], int]) -> None:
        self.store, self.rules, self.now_ms = store, rules, now_ms
        self.journal = Journal(store)
        self._bench = bench
        self._run: NightOnRecord | None = None
        # Measurements of this session in their order, by which a check is due; a shaft may have an old, low number.
        self._turn = 0
        self._checks: list[StandardCheck] = []
        self._shafts: list[int] = []
        self._skipped_at: int | None = None  # turn at which a person went on without a check

    @property
    def run(self) -> NightOnRecord:
        """The run of this session; begun when it is first asked for."""
        if self._run is None:
            number = self.journal.begin_night(self._bench, self.rules.as_json(), self.now_ms(), attended=True)
            self._run = next(run for run in self.journal.nights(self._bench, attended=True) if run.id == number)
        return self._run

    @property
    def batch_begun(self) -> int | None:
        """Number of the batch of this session, None before its first shaft."""
        return None if self._run is None else self._run.batch

    # Orders

    def order(self, label: str = "", standard: str | None = None) -> ShaftOrder:
        """Return the order for a shaft that lies in the gauge, under a number that no shaft has yet.

        An order that was not carried through, because the lid was open or an earlier session was broken off, is taken
        again with its label.

        Parameters
        ----------
        label : str
            Its label, may be empty.
        standard : str | None
            Name of the check standard that it is, None for a shaft of the stock.

        Returns
        -------
        ShaftOrder
            The order.
        """
        left = self._unmeasured(standard)
        if left is not None:
            return self._order(left, label or self.label_of(left.shaft))
        self.lifted()
        shaft = self.journal.order(self.run.id, SOURCE, standard, self.now_ms())
        transit = self.journal.transit(shaft)
        assert transit is not None
        return self._order(transit, label)

    def order_again(self, shaft: int) -> ShaftOrder:
        """Return the order for a shaft that was measured before, under the number that it has.

        Parameters
        ----------
        shaft : int
            Its number.

        Returns
        -------
        ShaftOrder
            The order.
        """
        left = self._unmeasured(None)
        if left is not None and left.shaft == shaft:
            return self._order(left, self.label_of(shaft))
        self.lifted()
        return ShaftOrder(shaft, self.label_of(shaft), None, None, self.run.batch)

    def unfinished(self) -> ShaftOrder | None:
        """Return the order of a shaft that got its number and was not measured, of this session or an earlier one.

        Returns
        -------
        ShaftOrder | None
            The order, with the label that was said; None if every shaft was measured.
        """
        left = self._unmeasured(None)
        return None if left is None else self._order(left, self.label_of(left.shaft))

    def give_up(self, order: ShaftOrder) -> None:
        """Record that a shaft which was not measured will not be; its label is free again.

        Parameters
        ----------
        order : ShaftOrder
            The order, as `unfinished` returned it.
        """
        self.journal.note(order.shaft, WayStep(TransitStage.NO_SHAFT, self.now_ms(), words=NOT_MEASURED))
        if order.label:
            say_of(self.store, order.shaft, DetailKind.LABEL, None, self.rules.operator, self.now_ms())

    def _unmeasured(self, standard: str | None) -> Transit | None:
        """Return the newest open order that was not carried through, None if there is none."""
        left = (way for way in self.journal.open_orders(self._bench) if way.result is None)
        return next((way for way in left if way.standard == standard), None)

    def is_measured(self, shaft: int) -> bool:
        """Return whether a number was ever measured, or is kept for a shaft that will be.

        Parameters
        ----------
        shaft : int
            Number of a shaft.

        Returns
        -------
        bool
            False for the number of a shaft that was given up.
        """
        left = self._unmeasured(None)
        with Records.of(self.store) as records:
            return records.is_measured(shaft) or (left is not None and left.shaft == shaft)

    def label_of(self, shaft: int) -> str:
        """Return the label of a shaft.

        Parameters
        ----------
        shaft : int
            Its number.

        Returns
        -------
        str
            The newest label that was said of it, else that of its newest measurement; empty if it has none.
        """
        said = current(details_of(self.store, [shaft])).get(DetailKind.LABEL)
        stored = None if said is not None else self.store.latest(shaft)
        return (said or "") if stored is None else stored.run.label

    def _order(self, transit: Transit, label: str) -> ShaftOrder:
        """Return the order that stands for a shaft of the journal."""
        name = label if transit.standard is None else transit.standard
        return ShaftOrder(transit.shaft, name, transit.standard, transit, self.journal.batch(transit.night))

    def left_open(self) -> ShaftOrder | None:
        """Return the order that was not carried through, of this session or of one that was broken off.

        Returns
        -------
        ShaftOrder | None
            The order, None if the last one came to its end.
        """
        left = next(iter(self.journal.open_orders(self._bench)), None)
        return None if left is None else self._order(left, self.label_of(left.shaft))

    def order_of_held(self, shaft: int) -> ShaftOrder | None:
        """Return the order under which readings were taken that a gauge still holds.

        Parameters
        ----------
        shaft : int
            Number of the shaft.

        Returns
        -------
        ShaftOrder | None
            The order, None if no session of this database gave it.
        """
        left = next((way for way in self.journal.open_orders(self._bench) if way.shaft == shaft), None)
        if left is not None:
            return self._order(left, self.label_of(shaft))
        for run in self.journal.nights(self._bench, attended=True)[-1:]:
            last = self.journal.events(run.id)[-1:]
            if [(event.code, event.shaft) for event in last] == [(AGAIN, shaft)]:
                return ShaftOrder(shaft, self.label_of(shaft), None, None, run.batch)
        return None

    def lifted(self) -> None:
        """Record that what was measured last was taken out.

        A check standard that was not measured counts as never laid in; a shaft that was not measured keeps its number
        until it is measured or given up.
        """
        for left in self.journal.open_orders(self._bench):
            if left.result is not None:
                self.journal.note(left.shaft, WayStep(TransitStage.TAKEN_OUT, self.now_ms()))
            elif left.standard is not None:
                self.journal.note(left.shaft, WayStep(TransitStage.NO_SHAFT, self.now_ms(), words=NOT_MEASURED))

    # Measurements

    def measuring(self, order: ShaftOrder, archive_bytes: int | None, marker: str | None) -> None:
        """Record that a shaft is about to be measured.

        Parameters
        ----------
        order : ShaftOrder
            The shaft.
        archive_bytes : int | None
            Where its readings will be in the archive.
        marker : str | None
            Marker of the archive.
        """
        at_ms = self.now_ms()
        if order.transit is None:
            words = f"shaft {order.shaft} is measured again"
            self.journal.add_events(self.run.id, RunEvent(RunEventKind.NOTICE, words, at_ms, AGAIN, order.shaft))
        else:
            step = WayStep(TransitStage.MEASURING, at_ms, archive_bytes=archive_bytes, words=marker)
            self.journal.note(order.shaft, step)

    def judged(self, order: ShaftOrder, where: RunReference, result: AttendedResult, facts: RunFacts) -> MeasuredShaft:
        """Judge a result and store both; readings that are stored already are not stored again.

        Parameters
        ----------
        order : ShaftOrder
            The shaft.
        where : RunReference
            Where its readings are.
        result : AttendedResult
            Its result.
        facts : RunFacts
            What else the readings say.

        Returns
        -------
        MeasuredShaft
            The shaft with its verdict as it is stored.
        """
        known = self.store.run_of(where)
        was_empty = facts.cause == FaultCode.NO_CONTACT.name
        bar = None if was_empty else self.rules.named(order.standard)
        history = self.journal.checks(gauge=self._bench) if bar is not None else []
        check = None if bar is None or known else self._check(bar, result, history)
        suspects = self._suspects(check, history)
        if known is None:
            evaluation = self._evaluation(result, bar, check)
            if order.transit is None:
                self.store.add(order.batch, where, evaluation)
            else:
                findings = RunFindings(facts.cause, facts.watched, check, suspects)
                self.journal.judged(order.transit, where, evaluation, findings)
            if not was_empty:
                self._remember(order, check)
        stored = self.store.history(where if known is None else known[1])[-1]
        if was_empty and known is None:
            void(self.store, stored.run_id, NOTHING_THERE, self.rules.operator, self.now_ms(), in_set=True)
        return MeasuredShaft(order, result, stored.decision, stored.run_id, check, tuple(suspects), was_empty=was_empty)

    def _evaluation(self, result: AttendedResult, bar: Standard | None, check: StandardCheck | None) -> Evaluation:
        """Return a result with its verdict and what that rests on."""
        if check is None or bar is None:
            decision, basis = self._verdict(result)
        else:
            decision, basis = verdict_on_check(check), basis_of_standard(bar, self.rules.bands)
        return Evaluation(result, decision, self.now_ms(), basis)

    def _verdict(self, result: AttendedResult) -> tuple[Decision, Basis]:
        """Return the verdict on a shaft of the stock and its basis."""
        return judge(result, self.rules.bands), basis_of_bands(self.rules.bands)

    def rescued(self, where: RunReference, result: AttendedResult) -> MeasuredShaft:
        """Judge and store readings that were taken for another program.

        Parameters
        ----------
        where : RunReference
            Where the readings are.
        result : AttendedResult
            Their result.

        Returns
        -------
        MeasuredShaft
            The shaft with its verdict.
        """
        known = self.store.run_of(where)
        order = ShaftOrder(where.shaft, where.label, None, None, self.run.batch if known is None else known[0])
        if known is None:
            self.store.add(order.batch, where, self._evaluation(result, None, None), origin=Origin.IMPORTED)
        stored = self.store.history(where if known is None else known[1])[-1]
        return MeasuredShaft(order, result, stored.decision, stored.run_id, rescued=True)

    def _remember(self, order: ShaftOrder, check: StandardCheck | None) -> None:
        """Remember a measurement, for when the next check is due."""
        self._turn += 1
        if check is not None:
            self._skipped_at = None
            self._checks.append(replace(check, shaft=self._turn))
        elif order.standard is None:
            self._shafts.append(self._turn)

    # Check standards

    def due(self, *, ending: bool) -> Standard | None:
        """Return the check standard to measure now.

        Parameters
        ----------
        ending : bool
            True if the session is about to end.

        Returns
        -------
        Standard | None
            The standard, None if no check is due.
        """
        since = None if self._skipped_at is None else sum(turn > self._skipped_at for turn in self._shafts)
        if (ending and not self._shafts) or (since is not None and since < self.rules.checks.every_shafts):
            return None
        return due(self.rules, self._checks, self._shafts, self.now_ms(), ending=ending)

    def skip_check(self) -> None:
        """Go on without the check that is due, until as many shafts were measured as lie between two checks."""
        self._skipped_at = self._turn

    def _check(self, bar: Standard, result: AttendedResult, history: Sequence[StandardCheck]) -> StandardCheck:
        """Return the check by the measurement of a standard."""
        assert not isinstance(result, HandResult)  # a session by hand has no check standards
        return checked(bar, result, history, self.rules.checks, self.now_ms(), self.rules.calibration)

    def _suspects(self, check: StandardCheck | None, history: Sequence[StandardCheck]) -> list[int]:
        """Return the shafts that a check puts in doubt; empty without a check."""
        if check is None:
            return []
        since = good_since(check, history, self.rules.checks)
        known = self.journal.since(self._bench, since) if since else self.journal.transits(self.run.id)
        return in_doubt(since, known)
