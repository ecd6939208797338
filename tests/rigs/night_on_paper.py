"""Nights on paper: journals of invented shafts, written as a run of sorting would, without a gauge."""

from contextlib import contextmanager
from random import Random

from midspan.decision.bands import Bands
from midspan.decision.decision import Decision, Outcome
from midspan.sorting.plan import SortPlan, as_kept
from midspan.store.evaluation import Evaluation, RunReference
from midspan.store.journal import Journal
from midspan.store.transit import RunEvent, RunEventKind, RunFindings, StandardCheck, TransitStage, WayStep
from results import NOTHING, told

EVENING_MS = 1_795_550_640_000  # Tuesday 24 November 2026, 20:04 UTC
SHAFT_MS = 21_000
BANDS = {
    "bin": [
        {"name": "stiffer dozen", "spine_thou": [493.0, 499.0], "spread_max_thou": 5.0},
        {"name": "softer dozen", "spine_thou": [499.0, 505.0], "spread_max_thou": 5.0},
    ]
}
PLAN = {
    "gauge": {"name": "attic", "port": "PORT", "calibration": "gauge.toml"},
    "sort": {"bands": "bands.toml", "crack_hysteresis_pct": 1.5},
    "place": [
        {"number": 1, "bin": "stiffer dozen", "holds": 1500},
        {"number": 2, "bin": "softer dozen", "holds": 1500},
        {"number": 3, "use": "recheck", "holds": 300},
        {"number": 4, "use": "rejected", "holds": 300},
        {"number": 5, "use": "cracked", "holds": 50},
        {"number": 6, "use": "standard"},
    ],
    "standard": [{"name": "bar 7", "assigned_thou": 498.6, "u_assigned_thou": 0.15, "definition": "normal reactions"}],
}
U_THOU = 0.21
CRACKED = Decision(Outcome.REJECTED, ("hysteresis 2.20 % hints at a crack",))


class AtOnce:
    """A store whose calls share one transaction, so that thousands of shafts are written in the time of one."""

    def __init__(self, session, place):
        self._session, self.place = session, place

    @contextmanager
    def transaction(self):
        yield self._session


class PaperNight:
    """Writes a night shaft by shaft; `at_ms` is its clock."""

    def __init__(self, journal, bands=BANDS, plan=PLAN, seed=1):
        self.journal, self.random, self.at_ms = journal, Random(seed), EVENING_MS
        self.plan = SortPlan.model_validate(plan)
        kept = as_kept(self.plan, Bands.model_validate(bands)) if bands else self.plan.model_dump_json(by_alias=True)
        self.number = journal.begin_night(self.plan.gauge.name, kept, self.at_ms)
        self.happened(RunEventKind.BEGUN, "begun")

    def happened(self, kind, words, **also):
        self.journal.add_events(self.number, RunEvent(kind, words, self.at_ms, **also))

    def fed(self, source="HOPPER", standard=None, words=None):
        """Let a shaft come into the gauge; return its number."""
        shaft = self.journal.order(self.number, source, standard, self.at_ms)
        self.journal.note(shaft, WayStep(TransitStage.IN_GAUGE, self.at_ms + 1000, words=words))
        return shaft

    def judged(self, shaft, spine_thou, decision, check=None, suspects=()):
        """Store a shaft's verdict; `spine_thou` is None for a shaft that could not be measured."""
        self.journal.note(shaft, WayStep(TransitStage.MEASURING, self.at_ms + 2000, archive_bytes=9000 * shaft))
        transit = self.journal.open_transit(self.plan.gauge.name)
        result = NOTHING
        if spine_thou is not None:
            result = told(spine_thou=spine_thou, u_spine_thou=U_THOU, calibration="attic-7")
        run = RunReference("readings.avro", 9000 * shaft + transit.measured, shaft, "", self.at_ms)
        self.journal.judged(
            transit,
            run,
            Evaluation(result, decision, self.at_ms + 18_000),
            RunFindings(watched=self._watched(), check=check, suspects=suspects),
        )

    def _watched(self):
        hours = (self.at_ms - EVENING_MS) / 3.6e6
        return {
            "zero_n": 0.46 + 0.002 * hours + self.random.gauss(0, 1e-4),
            "noise_n": abs(self.random.gauss(4.5e-4, 5e-5)),
            "slip_pct": self.random.gauss(0.4, 0.02),
            "temperature_c": 19.5 - 0.4 * hours,
        }

    def left(self, shaft, place, passed=1):
        """Release a shaft into a place; with `passed` 0 the chute did not see it."""
        self.at_ms += SHAFT_MS
        self.journal.note(shaft, WayStep(TransitStage.LEAVING, self.at_ms - 2000, place=place))
        if passed:
            self.journal.note(shaft, WayStep(TransitStage.IN_BIN, self.at_ms, place=place, passed=passed))
        else:
            words = "the chute did not see it pass"
            self.journal.note(shaft, WayStep(TransitStage.UNCERTAIN, self.at_ms, place=place, words=words))

    def sorted_shaft(self, spine_thou, decision, place, passed=1, suspects=()):
        """Sort a whole shaft; return its number."""
        shaft = self.fed()
        self.judged(shaft, spine_thou, decision, suspects=suspects)
        self.left(shaft, place, passed)
        return shaft

    def ordinary_shaft(self):
        """Sort a shaft of a stock that mostly fits, as the bands would judge it."""
        return self.sorted_shaft(*self.drawn())

    def drawn(self):
        """Return spine, verdict and place of an ordinary shaft."""
        spine = self.random.gauss(498.5, 3.0)
        if self.random.random() < 0.01:
            spine = self.random.uniform(330, 350)
        if abs(spine - 505) < 0.4 or abs(spine - 493) < 0.4:
            why = f"spine {spine:.2f} thou is too close to the limit: measure it again"
            return spine, Decision(Outcome.DOUBTFUL, (why,)), 3
        if not 493 < spine < 505:
            return spine, Decision(Outcome.REJECTED, (f"spine {spine:.2f} thou is outside the bands",)), 4
        name = "stiffer dozen" if spine < 499 else "softer dozen"
        return spine, Decision(Outcome.ACCEPTED, (), name), 1 if spine < 499 else 2

    def check(self, off_thou=0.0, suspects=()):
        """Measure the check standard, with a reading that differs from its assigned value."""
        shaft = self.fed("SLOT", "bar 7")
        spine, good = 498.6 + off_thou, abs(off_thou) < 0.5
        reasons = () if good else (f"it reads {off_thou:+.2f} thou off its known value 498.6 thou, allowed 0.52 thou",)
        check = StandardCheck("bar 7", self.at_ms, spine, U_THOU, 498.6, 0.15, good, reasons, "attic-7")
        verdict = Decision(Outcome.INSTRUMENT_FAULT, reasons)
        if good:
            verdict = Decision(Outcome.ACCEPTED, (), "check standard")
        self.judged(shaft, spine, verdict, check, suspects)
        self.left(shaft, 6)


@contextmanager
def paper_night(place, **also):
    """Yield a night in the making, on the disk when the block ends."""
    with place.open() as store, store.transaction() as session:
        yield PaperNight(Journal(AtOnce(session, place)), **also)


def quiet_night(place, number=120):
    """Write a night as it should be; return the database's place."""
    with paper_night(place) as night:
        night.check(0.05)
        for _ in range(number):
            night.ordinary_shaft()
        night.check(-0.1)
        night.happened(RunEventKind.ENDED, "the hopper is empty")
    return place


def rough_night(place, number=400):
    """Write a night with a fault, a pause, suspects, a bin to recount, cracks and a stop.

    Return the database's place.
    """
    with paper_night(place) as night:
        for i in range(number):
            if i % 50 == 0 and i < 300:
                night.check(night.random.gauss(0, 0.12))
            for trouble in TROUBLES.get(i, ()):
                trouble(night)
            night.ordinary_shaft()
        since = [transit.shaft for transit in night.journal.transits(night.number)][-150:]
        night.check(1.7, suspects=since)
        night.happened(RunEventKind.CHECK, "check standard bar 7 is out of control", code="CHECK_OUT_OF_CONTROL")
        night.happened(RunEventKind.NOTICE, "webhook 1 (https://shop.example): a notice was not delivered")
        night.happened(RunEventKind.STOPPED, "check standard bar 7 is out of control")
        night.judged(night.fed(), 500.0, Decision(Outcome.ACCEPTED, (), "softer dozen"))
    return place


def _silent_cell(night):
    night.happened(RunEventKind.FAULT, "The load cell gave no sample.", code="CELL_SILENT")
    shaft = night.fed()
    night.judged(shaft, None, Decision(Outcome.INSTRUMENT_FAULT, ("CELL_SILENT: no sample",)))
    night.left(shaft, 3)
    night.at_ms += 40 * 60_000
    night.happened(RunEventKind.RESUMED, "the running host found the gauge again")


def _two_at_once(night):
    night.left(night.fed(words="TWO_SHAFTS"), 3, passed=2)
    night.happened(RunEventKind.ALARM, "the empty cell scatters by 0.0070 N", code="CELL_NOISY")


def _cracked(night):
    night.sorted_shaft(501.0, CRACKED, 5)


def _unseen(night):
    night.sorted_shaft(497.0, Decision(Outcome.ACCEPTED, (), "stiffer dozen"), 1, passed=0)


TROUBLES = {100: [_silent_cell], 150: [_two_at_once], 180: [_cracked, _cracked], 200: [_unseen]}
