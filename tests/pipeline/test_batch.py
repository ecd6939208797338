"""A batch of shafts: the order in which things become durable, and what stops the batch."""

import os
from pathlib import Path

import numpy as np
import pytest
from commands_rig import settings
from midspan.archive.raw_run import Phase
from midspan.archive.reader import read_archive
from midspan.archive.writer import ArchiveWriter
from midspan.base.errors import ArchiveError, DeviceFault, LinkError, StoreError
from midspan.decision.bands import load_bands
from midspan.decision.decision import Outcome
from midspan.link.session_events import BlockCame
from midspan.measurement.calibration import load_calibration
from midspan.measurement.result import ShaftResult
from midspan.pipeline.bench import MOST_FAULTS, Bench, measure_batch
from midspan.rehearsal.process import Rehearsal
from midspan.wire.records import State
from pretend import KilledError
from rig import gauge_on

pytestmark = pytest.mark.process

STUCK = {"spine_thou": 500.0, "fault": "cell_stuck"}


class Kit:
    """A bench on a simulated gauge with shafts numbered from 1, and a diary of what became durable."""

    def __init__(self, folder, shafts, gauge, archive, store):
        calibration, bands = settings(folder)
        self.folder, self.shafts = folder, shafts
        self.diary = []
        self.bench = Bench(
            gauge, load_calibration(calibration), load_bands(bands), archive, store, store.begin_batch("test", 0)
        )
        for thing, name in ((archive, "append"), (store, "add"), (gauge, "acknowledge")):
            self._note(thing, name)

    def _note(self, thing, name):
        method = getattr(thing, name)

        def noted(*arguments, **named):
            done = method(*arguments, **named)
            self.diary.append(name)
            return done

        setattr(thing, name, noted)

    @property
    def stock(self):
        """Numbers and labels of all shafts, as a batch takes them."""
        return [(number + 1, f"s{number + 1}") for number in range(len(self.shafts))]

    def archived(self):
        """Return the numbers of the shafts in the archive, as another program would see them now."""
        return [run.shaft for run in read_archive(self.folder / "a.avro")]

    def stored(self):
        """Return numbers and outcomes in the store, as another program would see them now."""
        with self.bench.store.place.open() as store:
            return [(row.run.shaft, row.decision.outcome) for row in store.batch(self.bench.batch)]


@pytest.fixture
def kit(tmp_path, request, store_place):
    """Return a kit with the shafts of the test's parameter, or with two good shafts."""
    shafts = getattr(request, "param", [{"spine_thou": 500.0}, {"spine_thou": 501.0}])
    given = [{"number": i + 1, **shaft} for i, shaft in enumerate(shafts)]
    with (
        gauge_on({"shafts": given}, tmp_path) as gauge,
        ArchiveWriter(tmp_path / "a.avro") as archive,
        store_place.open() as store,
    ):
        yield Kit(tmp_path, shafts, gauge, archive, store)


# The order of things


def test_readings_then_verdict_then_leave_to_forget(kit):
    seen = []
    for verdict in measure_batch(kit.bench, kit.stock):
        # What a verdict stands on is durable before anyone hears of it.
        seen.append(verdict.run.shaft)
        assert kit.archived() == seen
        assert [shaft for shaft, _ in kit.stored()] == seen
    assert seen == [1, 2]
    assert kit.diary == ["append", "add", "acknowledge"] * 2


def test_a_verdict_says_where_its_readings_are(kit):
    verdict = kit.bench.measure(2, "blue")
    with kit.bench.store.place.open() as store:
        stored = store.latest("blue")
    assert (stored.id, stored.decision, stored.run.shaft) == (verdict.stored, verdict.decision, 2)
    (run,) = read_archive(kit.folder / "a.avro")
    assert run == verdict.run
    assert (run.label, run.started_ms) == ("blue", stored.run.started_ms)


def failing(error):
    def fail(*_, **__):
        raise error

    return fail


def test_a_store_that_fails_leaves_the_readings_kept_and_the_gauge_free(kit):
    kit.bench.store.add = failing(StoreError("r.db: the disk is full"))
    with pytest.raises(StoreError) as caught:
        list(measure_batch(kit.bench, kit.stock))
    assert all(part in str(caught.value) for part in ("r.db", "shaft 1 (s1)", str(kit.folder / "a.avro")))
    assert kit.diary == ["append", "acknowledge"]
    assert (kit.archived(), kit.stored()) == ([1], [])
    assert kit.bench.gauge.settled().held_shaft is None


def test_an_archive_that_fails_leaves_the_shaft_with_the_gauge(kit):
    kit.bench.archive.append = failing(ArchiveError("a.avro: the disk is full"))
    with pytest.raises(ArchiveError):
        list(measure_batch(kit.bench, kit.stock))
    assert kit.diary == []
    assert kit.bench.gauge.settled().held_shaft == 1


def test_what_the_gauge_still_holds_is_fetched_and_judged(kit):
    whole = kit.bench.archive.append
    kit.bench.archive.append = failing(ArchiveError("a.avro: the disk is full"))
    with pytest.raises(ArchiveError):
        kit.bench.measure(1, "s1")
    kit.bench.archive.append = whole
    fetched = kit.bench.fetch_held()
    assert isinstance(fetched.result, ShaftResult)
    assert fetched.result.spine_thou == pytest.approx(500.0, abs=1.0)
    assert (fetched.run.complete, kit.archived()) == (True, [1])
    assert kit.bench.fetch_held() is None
    assert kit.bench.measure(2, "s2").run.shaft == 2


def test_what_was_kept_and_judged_before_the_host_died_is_neither_kept_nor_judged_twice(kit):
    acknowledge = kit.bench.gauge.acknowledge
    kit.bench.gauge.acknowledge = failing(KilledError())
    with pytest.raises(KilledError):
        kit.bench.measure(1, "s1")
    kit.bench.gauge.acknowledge = acknowledge
    fetched = kit.bench.fetch_held()
    assert fetched.run.label == "s1"
    assert (kit.archived(), [shaft for shaft, _ in kit.stored()]) == ([1], [1])
    assert [evaluation.id for evaluation in kit.bench.store.history(1)] == [fetched.stored]
    assert kit.bench.fetch_held() is None


def test_what_was_judged_before_the_host_died_is_known_when_its_archive_is_named_another_way(kit, monkeypatch):
    kit.bench.gauge.acknowledge = failing(KilledError())
    with pytest.raises(KilledError):
        kit.bench.measure(1, "s1")
    del kit.bench.gauge.acknowledge
    monkeypatch.chdir(kit.folder)
    kit.bench.archive.close()
    with ArchiveWriter(Path("a.avro")) as kit.bench.archive:
        fetched = kit.bench.fetch_held()
    assert [evaluation.id for evaluation in kit.bench.store.history(1)] == [fetched.stored]


def test_ctrl_c_lifts_the_head_keeps_the_readings_and_goes_its_way(kit):
    def interrupting(outcome):
        if isinstance(outcome, BlockCame) and outcome.block.phase == Phase.FULL:
            raise KeyboardInterrupt

    kit.bench.on_event = interrupting
    with pytest.raises(KeyboardInterrupt):
        kit.bench.measure(1, "s1")
    kit.bench.on_event = lambda _: None
    assert kit.bench.gauge.settled().state is State.IDLE
    assert kit.diary == ["append", "add", "acknowledge"]
    (run,) = read_archive(kit.folder / "a.avro")
    assert (run.shaft, run.complete, run.cause) == (1, False, "STOPPED_BY_HOST")
    assert np.ptp(run.press_steps) > 0
    assert kit.stored() == [(1, Outcome.DOUBTFUL)]


def test_ctrl_c_on_a_terminal_does_not_reach_the_simulated_gauge(tmp_path):
    # The terminal sends it to every process of its foreground group; the gauge must live to be stopped.
    with Rehearsal({"shafts": []}, tmp_path) as rehearsal:
        assert os.getpgid(rehearsal._process.pid) not in (os.getpgrp(), 0)


def test_a_line_that_breaks_in_mid_shaft_stops_the_batch_and_keeps_what_was(kit):
    def breaking(outcome):
        if isinstance(outcome, BlockCame) and outcome.block.shaft == 2:
            raise LinkError("port: the gauge is gone")

    kit.bench.on_event = breaking
    verdicts = measure_batch(kit.bench, kit.stock)
    assert next(verdicts).run.shaft == 1
    with pytest.raises(LinkError):
        next(verdicts)
    assert (kit.archived(), [shaft for shaft, _ in kit.stored()]) == ([1], [1])


# What stops a batch and what does not

GOOD, LOST = {"spine_thou": 500.0}, {"fault": "absent"}


def outcomes(kit):
    return [verdict.decision.outcome for verdict in measure_batch(kit.bench, kit.stock)]


@pytest.mark.parametrize("kit", [[GOOD, STUCK, GOOD]], indirect=True)
def test_a_gauge_fault_is_cleared_and_the_next_shaft_measured(kit):
    found = outcomes(kit)
    assert found[1] is Outcome.INSTRUMENT_FAULT
    assert Outcome.INSTRUMENT_FAULT not in (found[0], found[2])
    assert kit.archived() == [1, 2, 3]
    assert kit.bench.gauge.settled().state is State.IDLE


@pytest.mark.parametrize(
    "kit",
    [[{"fault": name}, GOOD] for name in ("absent", "soft", "stiff_jam", "cell_silent", "cell_saturated")],
    indirect=True,
    ids=["absent", "soft", "stiff_jam", "cell_silent", "cell_saturated"],
)
def test_after_each_kind_of_failure_the_batch_goes_on(kit):
    failed, measured = measure_batch(kit.bench, kit.stock)
    assert failed.decision.outcome in (Outcome.DOUBTFUL, Outcome.INSTRUMENT_FAULT)
    assert failed.run.cause is not None
    assert failed.decision.reasons[0].startswith(failed.run.cause)
    assert measured.result.spine_thou == pytest.approx(500.0, abs=1.0)


@pytest.mark.parametrize("kit", [[STUCK] * (MOST_FAULTS + 1)], indirect=True)
def test_faults_in_a_row_stop_the_batch(kit):
    verdicts = measure_batch(kit.bench, kit.stock)
    for _ in range(MOST_FAULTS):
        assert next(verdicts).decision.outcome is Outcome.INSTRUMENT_FAULT
    with pytest.raises(DeviceFault) as caught:
        next(verdicts)
    assert all(part in str(caught.value) for part in (f"shaft {MOST_FAULTS}:", "CELL_STUCK"))
    assert kit.archived() == list(range(1, MOST_FAULTS + 1))
    assert len(kit.stored()) == MOST_FAULTS


@pytest.mark.parametrize("kit", [[STUCK, STUCK, GOOD, STUCK, STUCK, LOST]], indirect=True)
def test_faults_that_are_not_in_a_row_do_not(kit):
    fault = Outcome.INSTRUMENT_FAULT
    assert [outcome is fault for outcome in outcomes(kit)] == [True, True, False, True, True, False]


@pytest.mark.parametrize("kit", [[LOST] * (MOST_FAULTS + 1)], indirect=True)
def test_empty_places_in_a_row_are_no_fault_of_the_gauge(kit):
    assert outcomes(kit) == [Outcome.DOUBTFUL] * (MOST_FAULTS + 1)


def test_a_gauge_that_cannot_go_home_stops_the_batch(tmp_path, store_place):
    calibration, bands = settings(tmp_path)
    with (
        gauge_on({"gauge": {"home_switch_broken": "open"}, "shafts": [{"number": 1}]}, tmp_path) as gauge,
        ArchiveWriter(tmp_path / "a.avro") as archive,
        store_place.open() as store,
    ):
        bench = Bench(gauge, load_calibration(calibration), load_bands(bands), archive, store, 1)
        with pytest.raises(DeviceFault):
            list(measure_batch(bench, [(1, "")]))
    assert list(read_archive(tmp_path / "a.avro")) == []
