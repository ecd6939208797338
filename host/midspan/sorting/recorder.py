"""Record a night: readings in the archive, verdicts and steps in the store. Nothing here knows the gauge or its line.

After a failure the disk is opened again; what is needed to go on is read from archive and journal.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial

from midspan.archive.raw_run import RawRun
from midspan.base.errors import StoreGone
from midspan.base.formatting import shafts_numbered
from midspan.decision.bands import Bands
from midspan.decision.basis import Basis
from midspan.decision.decision import Decision
from midspan.measurement.result import Unmeasured
from midspan.pipeline.steps import Judging, Kept, Result
from midspan.sorting.account import Account, account_of, with_spine
from midspan.sorting.assess import Assessment, RunContext, assess, judged_as
from midspan.sorting.check_standards import good_since, in_doubt
from midspan.sorting.gauge_health import FIRST, RunSigns
from midspan.sorting.next_action import Route, Snapshot, Wanted
from midspan.sorting.night_archive import NightArchive
from midspan.sorting.night_settings import SettingChange, changes, settings, spells
from midspan.sorting.readings_gone import READINGS_GONE, readings_gone
from midspan.sorting.routing import Judged, recheck_route, route_of
from midspan.sorting.setup import Setup
from midspan.sorting.tally import tally_of
from midspan.sorting.verdict import basis_of_plan, verdict_by
from midspan.store.database import Store
from midspan.store.evaluation import Evaluation, Origin
from midspan.store.journal import Journal
from midspan.store.kept_calibration import KeptCalibration
from midspan.store.stored_result import finite
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
from midspan.wire.records import Identify

LOG = logging.getLogger(__name__)


class NightRecorder:
    """Everything durable of one night.

    `tally`, `checks`, `shafts` (judged shafts of the stock) and `latest` may be read from outside. `archive` can be
    written once `snapshot` was called. Methods raise ArchiveError and StoreError when the disk or another program is in
    the way; nothing is half done then, and the same call can be made again.

    Parameters
    ----------
    setup : Setup
        Plan, calibration and bands.
    store : Store
        The open store.
    night : NightOnRecord
        The night on record.
    now_ms : Callable[[], int]
        Returns the time, ms since 1970 UTC.
    """

    def __init__(self, setup: Setup, store: Store, night: NightOnRecord, now_ms: Callable[[], int]) -> None:
        self.setup, self.night, self.now_ms = setup, night, now_ms
        self.journal = Journal(store)
        self._store = store
        self.latest: Assessment | None = None
        self.archive = NightArchive(setup.archive, self.journal, now_ms)
        self._verdict: tuple[int, Judged] | None = None  # number of the newest result, and what its route depends on
        transits, events = self.journal.transits(night.id), self.journal.events(night.id)
        self.tally = tally_of(setup.plan, transits, self.journal.outcomes(night.id), events)
        self.tally.in_a_row.clear()  # a person looked before the night went on
        self.checks: list[StandardCheck] = self.journal.checks(night=night.id)
        self.shafts = [way.shaft for way in transits if way.standard is None and way.result is not None]
        steps = (step for transit in transits for step in transit.steps)
        self._observed: list[RunSigns] = []
        for step in steps:
            if step.watched is not None:
                self._observe(RunSigns(**step.watched))
        self._settings = settings(json.loads(setup.as_json()), setup.calibration.calibration.id)
        self._settled = spells(settings(night.plan, self.journal.first_calibration(night.batch)), events)[-1]
        self._last_ordered = (transits[-1].shaft, transits[-1].ordered_ms) if transits else None
        self._last_ended = max((transit.shaft for transit in transits if not transit.is_open), default=None)
        self._alarmed = {event.shaft for event in events if event.kind is RunEventKind.ALARM}

    @property
    def changes(self) -> list[SettingChange]:
        """Settings that differ from those of the night so far, until `note_changes`."""
        return changes(self._settled.settings, self._settings)

    def account(self) -> Account:
        """Return where all shafts of the run are.

        Returns
        -------
        Account
            The account, from the journal.
        """
        night = self.night.id
        return account_of(self.journal.transits(night), with_spine(self.journal.judged_results(night)))

    @property
    def checks_in_force(self) -> list[StandardCheck]:
        """Checks under the present settings; earlier checks do not vouch for later shafts."""
        return [check for check in self.checks if (check.shaft or 0) > self._settled.after]

    def note_changes(self) -> None:
        """Note changed settings from here on; earlier verdicts stay as they are.

        Raises
        ------
        StoreError
            The journal cannot be written.
        """
        found = self.changes
        if not found:
            return
        transits = self.journal.transits(self.night.id)
        last = max((transit.shaft for transit in transits if self._keeps_verdict(transit)), default=0)
        now_ms = self.now_ms()
        told = [RunEvent(RunEventKind.SETTING, change.now, now_ms, change.name, last) for change in found]
        for change in found:
            LOG.info("another setting from here on, after shaft %d: %s, now %s", last, change.name, change.now)
        self.tell(*told)
        self._settled = spells(self._settled.settings, told)[-1]

    def _keeps_verdict(self, transit: Transit) -> bool:
        """Return True if a shaft was judged and is neither measured nor judged again."""
        if not transit.is_open:
            return transit.result is not None
        kept = self.archive.readings(transit)
        route = None if kept is None else self._route(transit, kept.run)
        return route is not None and not route.again

    def open(self) -> None:
        """Open the archive, note readings that are gone from it, and store the calibration.

        Raises
        ------
        ArchiveError
            The archive cannot be opened.
        StoreError
            The store cannot be written.
        """
        self.archive.open()
        self._store.keep_calibration(KeptCalibration.of(self.setup.calibration))
        transit = self.journal.open_transit(self.night.gauge)
        for night in {self.night.id, self.night.id if transit is None else transit.night}:
            self._note_gone(night)

    def _note_gone(self, night: int) -> None:
        """Note, once, the shafts of a night whose readings are gone."""
        transits = self.journal.transits(night)
        gone = readings_gone(self.journal.runs(self.journal.batch(night)), transits, self.setup.archive)
        words = f"the raw readings of {shafts_numbered(gone)} are no longer in their archive; their verdicts stand"
        if gone and words not in (event.words for event in self.journal.events(night)):
            self.journal.add_events(night, RunEvent(RunEventKind.FAULT, words, self.now_ms(), READINGS_GONE))

    def close(self) -> None:
        """Close the archive; closing twice does no harm."""
        self.archive.close()

    # What there is

    def snapshot(self, gauge: Identify, wanted: Wanted) -> Snapshot:
        """Return everything that the next action depends on.

        Parameters
        ----------
        gauge : Identify
            The newest answer of the gauge.
        wanted : Wanted
            What is wanted besides the next shaft.

        Returns
        -------
        Snapshot
            The snapshot.

        Raises
        ------
        ArchiveGone
            The archive is not as it was left.
        StoreGone
            The database is not as it was left.
        """
        self._check_store()
        if not self.archive.is_open:
            self.open()
        self.archive.check_place()
        transit = self.journal.open_transit(self.night.gauge)
        found = None if transit is None else self.archive.readings(transit)
        route = None if transit is None or found is None else self._route(transit, found.run)
        recheck = recheck_route(self.setup.plan, self.tally.places)
        return Snapshot(gauge, transit, found is not None, route, recheck, wanted)

    def _check_store(self) -> None:
        """Raise StoreGone if the store lacks what was written to it, though its file is the same."""
        if self._last_ordered is None:
            return
        shaft, ordered_ms = self._last_ordered
        found = self.journal.transit(shaft)
        if found is None or (found.night, found.ordered_ms) != (self.night.id, ordered_ms):
            raise StoreGone(
                f"{self.setup.store}: shaft {shaft} of run {self.night.id} is no longer in it: another database "
                "was copied over it; put the right database back, then go on"
            )

    def _route(self, transit: Transit, run: RawRun) -> Route | None:
        """Return the route of a shaft by its stored verdict, None without one."""
        result = next((step.result for step in reversed(transit.since_measuring) if step.result is not None), None)
        if result is None:
            return None
        if self._verdict is None or self._verdict[0] != result:
            stored = next(row for row in self._store.history(transit.shaft) if row.id == result)
            hysteresis = None if isinstance(stored.result, Unmeasured) else finite(stored.result.hysteresis_pct)
            self._verdict = result, judged_as(stored.decision, hysteresis, run)
        return route_of(self._verdict[1], transit, self.setup.plan, self.tally.places)

    # What comes to be

    def order(self, source: str, standard: str | None, above: int) -> int:
        """Note that a shaft is about to be fed.

        Parameters
        ----------
        source : str
            Name of the source.
        standard : str | None
            Name of the check standard, None for a shaft of the stock.
        above : int
            Number that the new number has to exceed.

        Returns
        -------
        int
            Number of the shaft.

        Raises
        ------
        StoreError
            The journal cannot be written.
        """
        now_ms = self.now_ms()
        shaft = self.journal.order(self.night.id, source, standard, now_ms, above)
        self._last_ordered = shaft, now_ms
        return shaft

    def rescue(self, run: RawRun) -> None:
        """Keep readings of a shaft unknown to the journal, and judge them, unless that was done already.

        Parameters
        ----------
        run : RawRun
            The readings.

        Raises
        ------
        ArchiveError
            The archive cannot be written.
        StoreError
            The store cannot be written.
        """
        kept = self.archive.keep_once(run)
        if self._store.run_of(kept.where) is not None:
            return
        basis = self._basis(None)

        def store(kept: Kept, result: Result, decision: Decision) -> None:
            evaluation = Evaluation(result, decision, self.now_ms(), basis)
            self._store.add(self.night.batch, kept.where, evaluation, origin=Origin.IMPORTED)

        decide = partial(_decided, basis=basis, bands=self.setup.bands)
        Judging(self.setup.calibration, decide, store).judge(kept)

    def judge(self, transit: Transit, gauge: Identify) -> Assessment:
        """Evaluate and store the readings of a shaft, with everything that follows from them.

        Parameters
        ----------
        transit : Transit
            The shaft's way.
        gauge : Identify
            The newest answer of the gauge.

        Returns
        -------
        Assessment
            The assessment.

        Raises
        ------
        StoreError
            The store cannot be written.
        """
        kept = self.archive.readings(transit)
        assert kept is not None  # the planner judges only readings that are there
        checks = self.journal.checks(gauge=self.night.gauge) if transit.standard is not None else []
        context = RunContext(transit, gauge, self.now_ms(), self.tally.places, self._observed, checks)

        def decide(kept: Kept, result: Result) -> Assessment:
            return assess(kept, result, context, self.setup)

        def store(kept: Kept, _: Result, found: Assessment) -> tuple[int, Assessment]:
            return self._stored(kept, found, context), found

        number, found = Judging(self.setup.calibration, decide, store).judge(kept)
        self._note_assessment(number, found, transit)
        return found

    def _stored(self, kept: Kept, found: Assessment, context: RunContext) -> int:
        """Store an assessment and return the number of the result."""
        transit = context.transit
        evaluation = Evaluation(found.result, found.decision, context.now_ms, self._basis(transit.standard))
        suspects = self._suspects(found.check, context.checks)
        findings = RunFindings(kept.run.cause, found.seen.as_dict(), found.check, suspects, found.events)
        return self.journal.judged(transit, kept.where, evaluation, findings)

    def _note_assessment(self, number: int, found: Assessment, transit: Transit) -> None:
        """Remember an assessment once it is stored."""
        self.latest = found
        # The route of a shaft of the stock follows the stored verdict, which includes earlier findings.
        self._verdict = None if transit.standard is None else (number, found.judged)
        self._observe(found.seen)
        if found.check is not None:
            self.checks.append(replace(found.check, shaft=transit.shaft))
        elif transit.standard is None and transit.shaft not in self.shafts[-1:]:
            self.shafts.append(transit.shaft)
        if any(event.kind is RunEventKind.ALARM for event in found.events):
            self._alarmed.add(transit.shaft)

    def _observe(self, seen: RunSigns) -> None:
        """Add signs to those of the night; only the first ones and the last matter."""
        self._observed[FIRST:] = [seen]

    def _suspects(self, check: StandardCheck | None, history: Sequence[StandardCheck]) -> list[int]:
        """Return the shafts that a check puts in doubt, empty without a check."""
        if check is None:
            return []
        since = good_since(check, history, self.setup.plan.checks)
        known = self.journal.since(self.night.gauge, since) if since else self.journal.transits(self.night.id)
        return in_doubt(since, known)

    def end(
        self,
        transit: Transit,
        stage: TransitStage,
        place: int | None = None,
        passed: int | None = None,
        words: str = "",
    ) -> None:
        """Note how a shaft's way ended, and count it.

        Parameters
        ----------
        transit : Transit
            The shaft's way.
        stage : TransitStage
            How it ended.
        place : int | None
            Number of the place, None for no place.
        passed : int | None
            Shafts that the chute saw pass, None if unknown.
        words : str
            Reason, for people.

        Raises
        ------
        StoreError
            The journal cannot be written.
        """
        step = WayStep(stage, self.now_ms(), place, passed, words=words or None)
        self.journal.note(transit.shaft, step)
        outcome = None if self._verdict is None or self._verdict[0] != transit.result else self._verdict[1].outcome
        ended = replace(transit, steps=(*transit.steps, step))
        self.tally.end(ended, outcome, alarmed=transit.shaft in self._alarmed)
        self._last_ended = transit.shaft
        if transit.result is not None and self.archive.readings(transit) is None:  # they went while it was released
            self._note_gone(transit.night)

    def emptied(self, place: int) -> None:
        """Note that a person emptied a place.

        Parameters
        ----------
        place : int
            Its number.

        Raises
        ------
        StoreError
            The journal cannot be written.
        """
        words = f"{self.setup.plan.place_called(place)} was emptied"
        self.tell(RunEvent(RunEventKind.EMPTIED, words, self.now_ms(), shaft=self._last_ended, place=place))
        self.tally.empty(place)

    def tell(self, *events: RunEvent) -> None:
        """Add events to the journal.

        Parameters
        ----------
        *events : RunEvent
            The events.

        Raises
        ------
        StoreError
            The journal cannot be written.
        """
        self.journal.add_events(self.night.id, *events)

    def _basis(self, standard: str | None) -> Basis:
        """Return the basis of a verdict of this night."""
        return basis_of_plan(self.setup.plan, self.setup.bands, standard, self.night.id)


def _decided(_: Kept, result: Result, basis: Basis, bands: Bands) -> Decision:
    """Return the verdict on rescued readings."""
    return verdict_by(result, basis, bands)
