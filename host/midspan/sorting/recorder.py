"""What is kept of a night: readings in the archive, verdicts and steps in the store. It knows no gauge and no line.

After a disk has failed it is opened anew; what it needs to go on it reads from archive and journal again.
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
from midspan.sorting.assess import Assessment, RunContext, assess, judged_as
from midspan.sorting.check_standards import in_doubt
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
    Step,
    Transit,
    TransitStage,
)
from midspan.wire.records import Identify

LOG = logging.getLogger(__name__)


class NightRecorder:
    """Everything durable of one night; `tally`, `checks`, `shafts` (the stock's judged ones), `latest` are for reading.

    `archive` can be written once `snapshot` was asked.

    Methods raise ArchiveError and StoreError when the disk or another program stands in the way; nothing is half done
    then, and the same call can be made again.
    """

    def __init__(self, setup: Setup, store: Store, night: NightOnRecord, now_ms: Callable[[], int]) -> None:
        self.setup, self.night, self.now_ms = setup, night, now_ms
        self.journal = Journal(store)
        self._store = store
        self.latest: Assessment | None = None
        self.archive = NightArchive(setup.archive, self.journal, now_ms)
        self._verdict: tuple[int, Judged] | None = None  # the newest result's number, and what the way depends on
        transits, events = self.journal.transits(night.id), self.journal.events(night.id)
        self.tally = tally_of(setup.plan, transits, self.journal.outcomes(night.id), events)
        self.tally.in_a_row.clear()  # whoever goes on has looked
        self.checks: list[StandardCheck] = self.journal.checks(night=night.id)
        self.shafts = [one.shaft for one in transits if one.standard is None and one.result is not None]
        steps = (step for one in transits for step in one.steps)
        self._observed: list[RunSigns] = []
        for step in steps:
            if step.watched is not None:
                self._observe(RunSigns(**step.watched))
        self._settings = settings(json.loads(setup.as_json()), setup.calibration.calibration.id)
        self._settled = spells(settings(night.plan, self.journal.first_calibration(night.batch)), events)[-1]
        self._last_ordered = (transits[-1].shaft, transits[-1].ordered_ms) if transits else None
        self._last_ended = max((one.shaft for one in transits if not one.is_open), default=None)
        self._alarmed = {one.shaft for one in events if one.kind is RunEventKind.ALARM}

    @property
    def changes(self) -> list[SettingChange]:
        """Settings that are not what the night has judged by so far, until `note_changes`."""
        return changes(self._settled.settings, self._settings)

    @property
    def checks_in_force(self) -> list[StandardCheck]:
        """The checks under the settings of now: those of before vouch for nothing that comes."""
        return [one for one in self.checks if (one.shaft or 0) > self._settled.after]

    def note_changes(self) -> None:
        """Note what is another from here on; what was judged before stays as it is."""
        found = self.changes
        if not found:
            return
        last = max((one.shaft for one in self.journal.transits(self.night.id) if self._keeps_verdict(one)), default=0)
        now_ms = self.now_ms()
        told = [RunEvent(RunEventKind.SETTING, one.now, now_ms, one.name, last) for one in found]
        for one in found:
            LOG.info("another setting from here on, after shaft %d: %s, now %s", last, one.name, one.now)
        self.tell(*told)
        self._settled = spells(self._settled.settings, told)[-1]

    def _keeps_verdict(self, transit: Transit) -> bool:
        """Whether a shaft was judged and is not to be measured again, or its readings to be judged."""
        if not transit.is_open:
            return transit.result is not None
        kept = self.archive.readings(transit)
        route = None if kept is None else self._route(transit, kept.run)
        return route is not None and not route.again

    def open(self) -> None:
        """Open the archive, note which readings are not in it any more, and let the store keep the calibration."""
        self.archive.open()
        self._store.keep_calibration(KeptCalibration.of(self.setup.calibration))
        transit = self.journal.open_transit(self.night.gauge)
        for night in {self.night.id, self.night.id if transit is None else transit.night}:
            self._note_gone(night)

    def _note_gone(self, night: int) -> None:
        transits = self.journal.transits(night)
        gone = readings_gone(self.journal.runs(self.journal.batch(night)), transits, self.setup.archive)
        words = f"the raw readings of {shafts_numbered(gone)} are not in their archive any more; their verdicts stand"
        if gone and words not in (one.words for one in self.journal.events(night)):
            self.journal.add_events(night, RunEvent(RunEventKind.FAULT, words, self.now_ms(), READINGS_GONE))

    def close(self) -> None:
        """Let go of the archive; closing twice does no harm."""
        self.archive.close()

    # What there is

    def snapshot(self, gauge: Identify, wanted: Wanted) -> Snapshot:
        """All that the next move depends on; ArchiveGone or StoreGone when one of the two is not as it was left."""
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
        """Raise StoreGone when the store lacks what was written to it, though its file is the same."""
        if self._last_ordered is None:
            return
        shaft, ordered_ms = self._last_ordered
        found = self.journal.transit(shaft)
        if found is None or (found.night, found.ordered_ms) != (self.night.id, ordered_ms):
            raise StoreGone(
                f"{self.setup.store}: shaft {shaft} of night {self.night.id} is not in it any more: another database "
                "was copied over it; put the right one back, then go on"
            )

    def _route(self, transit: Transit, run: RawRun) -> Route | None:
        result = next((one.result for one in reversed(transit.since_measuring) if one.result is not None), None)
        if result is None:
            return None
        if self._verdict is None or self._verdict[0] != result:
            stored = next(one for one in self._store.history(transit.shaft) if one.id == result)
            hysteresis = None if isinstance(stored.result, Unmeasured) else finite(stored.result.hysteresis_pct)
            self._verdict = result, judged_as(stored.decision, hysteresis, run)
        return route_of(self._verdict[1], transit, self.setup.plan, self.tally.places)

    # What comes to be

    def order(self, source: str, standard: str | None, above: int) -> int:
        """Number of a shaft that is about to be fed."""
        now_ms = self.now_ms()
        shaft = self.journal.order(self.night.id, source, standard, now_ms, above)
        self._last_ordered = shaft, now_ms
        return shaft

    def rescue(self, run: RawRun) -> None:
        """Keep readings of a shaft that no journal here knows, and judge them, unless that was done already."""
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
        """Evaluate and store the readings that the archive gives, with everything that they say of the gauge."""
        kept = self.archive.readings(transit)
        assert kept is not None  # only what is there is to be judged
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
        transit = context.transit
        evaluation = Evaluation(found.result, found.decision, context.now_ms, self._basis(transit.standard))
        suspects = self._suspects(found.check, context.checks)
        findings = RunFindings(kept.run.cause, found.seen.as_dict(), found.check, suspects, found.events)
        return self.journal.judged(transit, kept.where, evaluation, findings)

    def _note_assessment(self, number: int, found: Assessment, transit: Transit) -> None:
        """Go on with what the store now has."""
        self.latest = found
        # The way of a shaft of the stock follows the verdict as it was kept, with what was found of it before.
        self._verdict = None if transit.standard is None else (number, found.judged)
        self._observe(found.seen)
        if found.check is not None:
            self.checks.append(replace(found.check, shaft=transit.shaft))
        elif transit.standard is None and transit.shaft not in self.shafts[-1:]:
            self.shafts.append(transit.shaft)
        if any(event.kind is RunEventKind.ALARM for event in found.events):
            self._alarmed.add(transit.shaft)

    def _observe(self, seen: RunSigns) -> None:
        """Add to the night's observations, of which only the first matter."""
        if len(self._observed) < FIRST:
            self._observed.append(seen)

    def _suspects(self, check: StandardCheck | None, history: Sequence[StandardCheck]) -> list[int]:
        if check is None:
            return []
        good = max((one.shaft or 0 for one in history if one.standard == check.standard and one.good), default=None)
        known = self.journal.transits(self.night.id) if good is None else self.journal.since(self.night.gauge, good)
        return in_doubt(check, history, known)

    def end(
        self,
        transit: Transit,
        stage: TransitStage,
        place: int | None = None,
        passed: int | None = None,
        words: str = "",
    ) -> None:
        """Note how a shaft's way ended, and count it."""
        step = Step(stage, self.now_ms(), place, passed, words=words or None)
        self.journal.note(transit.shaft, step)
        outcome = None if self._verdict is None or self._verdict[0] != transit.result else self._verdict[1].outcome
        ended = replace(transit, steps=(*transit.steps, step))
        self.tally.end(ended, outcome, alarmed=transit.shaft in self._alarmed)
        self._last_ended = transit.shaft
        if transit.result is not None and self.archive.readings(transit) is None:  # it went while they did
            self._note_gone(transit.night)

    def emptied(self, place: int) -> None:
        """Note that a person emptied a place."""
        words = f"{self.setup.plan.place_called(place)} was emptied"
        self.tell(RunEvent(RunEventKind.EMPTIED, words, self.now_ms(), shaft=self._last_ended, place=place))
        self.tally.empty(place)

    def tell(self, *events: RunEvent) -> None:
        """Note what happened."""
        self.journal.add_events(self.night.id, *events)

    def _basis(self, standard: str | None) -> Basis:
        return basis_of_plan(self.setup.plan, self.setup.bands, standard, self.night.id)


def _decided(_: Kept, result: Result, basis: Basis, bands: Bands) -> Decision:
    return verdict_by(result, basis, bands)
