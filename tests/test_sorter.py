"""One shaft after another: what is on the disk before what, and when a batch goes on or stops."""

from contextlib import ExitStack
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from midspan.archive import read
from midspan.archive_writer import ArchiveWriter
from midspan.bands import Bands
from midspan.decision import Outcome
from midspan.errors import DeviceFault, StoreError
from midspan.plan import plan_for
from midspan.records import State
from midspan.shaft import Unmeasured
from midspan.sorter import MOST_FAULTS, Bench, measure_batch
from midspan.store import Store
from synthetic import Gauge, Shaft, paper_calibration, raw_run

BANDS = Bands.model_validate({"bin": [{"name": "dozen", "spine_thou": [490.0, 510.0]}]})
IDENTITY = SimpleNamespace(press_limit_steps=20000, interval_us=12500, held_shaft=None, state=State.IDLE)


class PaperGauge:
    """Gives runs made on paper; `causes` cut the shafts with these numbers short."""

    def __init__(self, causes=None, held=None):
        self.causes = causes or {}
        self.identity = SimpleNamespace(**{**vars(IDENTITY), "held_shaft": held})
        self.did = []
        self.archive = None

    def identify(self, _on_event):
        return self.identity

    settled = identify

    def measure(self, shaft, label, plan, _on_event):
        assert plan.full_count > plan.light_count > 0
        run = replace(raw_run(Shaft(number=shaft), Gauge(), np.random.default_rng(shaft)), label=label)
        cause = self.causes.get(shaft)
        if cause:
            run = replace(run, complete=False, cause=cause)
            self.identity.state = State.FAULTED
        return run

    def fetch(self, shaft, label, on_event):
        self.identity.held_shaft = None
        return self.measure(shaft, label, plan_for(paper_calibration(), self.identity), on_event)

    def acknowledge(self, shaft, _on_event):
        stored = [run.shaft for run in read(self.archive.path)]
        assert shaft in stored, "the gauge may forget only what is on the disk"
        self.did.append(("acknowledge", shaft))

    def clear_fault(self, _on_event):
        self.identity.state = State.IDLE
        self.did.append(("clear",))


@pytest.fixture
def bench(tmp_path):
    with ExitStack() as stack:

        def made(gauge):
            gauge.archive = stack.enter_context(ArchiveWriter(tmp_path / "a.avro"))
            store = stack.enter_context(Store.open(tmp_path / "r.db"))
            return Bench(gauge, paper_calibration(), BANDS, gauge.archive, store, store.begin_batch("b", 0), lambda: 7)

        yield made


def test_each_shaft_is_archived_judged_and_acknowledged(bench):
    gauge = PaperGauge()
    verdicts = list(measure_batch(bench(gauge), [(1, "a"), (2, "b")]))
    assert [one.decision.bin for one in verdicts] == ["dozen", "dozen"]
    assert gauge.did == [("acknowledge", 1), ("acknowledge", 2)]


def test_readings_are_kept_and_acknowledged_when_the_store_fails(bench):
    gauge = PaperGauge()
    made = bench(gauge)

    def full(*_):
        raise StoreError("the disk is full")

    made.store.add = full
    with pytest.raises(StoreError, match="full"):
        made.measure(1, "")
    assert gauge.did == [("acknowledge", 1)]
    assert [run.shaft for run in read(gauge.archive.path)] == [1]


def test_a_gauge_fault_is_cleared_and_the_batch_goes_on(bench):
    gauge = PaperGauge({2: "CELL_STUCK"})
    verdicts = list(measure_batch(bench(gauge), [(1, ""), (2, ""), (3, "")]))
    assert [one.decision.outcome for one in verdicts] == [
        Outcome.ACCEPTED,
        Outcome.INSTRUMENT_FAULT,
        Outcome.ACCEPTED,
    ]
    assert isinstance(verdicts[1].result, Unmeasured)
    assert ("clear",) in gauge.did


def test_faults_in_a_row_stop_the_batch_and_lose_nothing(bench):
    gauge = PaperGauge(dict.fromkeys(range(2, 20), "CELL_STUCK"))
    seen = []
    with pytest.raises(DeviceFault, match="instrument faults in a row"):
        seen.extend(one.run.shaft for one in measure_batch(bench(gauge), [(i, "") for i in range(1, 20)]))
    assert [run.shaft for run in read(gauge.archive.path)] == list(range(1, MOST_FAULTS + 2))


def test_a_shaft_that_was_not_there_is_no_fault_of_the_gauge(bench):
    gauge = PaperGauge(dict.fromkeys(range(1, 20), "NO_CONTACT"))
    verdicts = list(measure_batch(bench(gauge), [(i, "") for i in range(1, 7)]))
    assert {one.decision.outcome for one in verdicts} == {Outcome.DOUBTFUL}


def test_a_shaft_held_from_before_is_fetched_and_stored(bench):
    gauge = PaperGauge(held=5)
    made = bench(gauge)
    assert made.fetch_held().run.shaft == 5
    assert made.fetch_held() is None
    assert gauge.did == [("acknowledge", 5)]
