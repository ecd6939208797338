"""The five steps of a run: their order, and what a failure or Ctrl-C at each of them leaves behind."""

from dataclasses import replace

import numpy as np
import pytest
from midspan.archive.reader import read_archive
from midspan.archive.writer import ArchiveWriter
from midspan.base.errors import ArchiveError, LinkError, StoreError
from midspan.calibrate.live import LiveBench
from midspan.calibrate.readings_table import TableWriter
from midspan.conversation.questions import Unattended
from midspan.link.session_events import BlockCame
from midspan.measurement.result import ShaftResult
from midspan.pipeline.steps import Judging, Pipeline, evaluate_kept, keep
from midspan.wire.records import State
from rig import gauge_on
from synthetic import Gauge as TrueGauge
from synthetic import Shaft, paper_calibration, raw_run

RUN = raw_run(Shaft(number=7, spine_thou=500.0), TrueGauge(), np.random.default_rng(1))


class Held:
    """A gauge that holds the readings of a shaft until they are acknowledged, with a diary of the steps."""

    def __init__(self, fails=None):
        self.diary, self.holds, self._fails = [], True, fails or {}

    def did(self, step):
        if step in self._fails:
            raise self._fails[step]
        self.diary.append(step)

    def fetch(self, shaft, label, on_event):
        assert self.holds
        return replace(RUN, label=label, started_ms=9)

    def stop(self):
        self.did("stop")
        return RUN

    def acknowledge(self, shaft, on_event):
        self.did("acknowledge")
        self.holds = False

    def pipeline(self, archive):
        """Return all five steps; each is written to the diary once it is done."""

        append = archive.append

        def keep(run):
            self.did("keep")
            return append(run)

        archive.append = keep

        def decide(kept, result):
            self.did("decide")
            return f"shaft {result.shaft}"

        def store(kept, result, decision):
            self.did("store")
            return kept.where.byte_offset, decision

        return Pipeline(self, archive, Judging(paper_calibration(), decide, store).judge)


@pytest.fixture
def archive(tmp_path):
    with ArchiveWriter(tmp_path / "a.avro") as writer:
        yield writer


def in_archive(archive):
    return [run.shaft for run in read_archive(archive.path)]


def test_each_step_takes_what_the_one_before_gave(archive):
    gauge, offset = Held(), archive.end
    assert gauge.pipeline(archive).take(lambda: RUN) == (offset, "shaft 7")
    assert gauge.diary == ["keep", "decide", "store", "acknowledge"]
    assert (gauge.holds, in_archive(archive)) == (False, [7])


@pytest.mark.parametrize("error", [StoreError("full"), ArchiveError("full"), LinkError("gone"), KeyboardInterrupt()])
@pytest.mark.parametrize("step", ["keep", "decide", "store", "acknowledge"])
def test_at_no_step_readings_are_on_neither_side(archive, step, error):
    gauge = Held({step: error})
    with pytest.raises(type(error)):
        gauge.pipeline(archive).take(lambda: RUN)
    assert in_archive(archive) == ([] if step == "keep" else [7])
    assert gauge.holds is (step in ("keep", "acknowledge"))
    assert "stop" not in gauge.diary  # it measures no more


def test_a_verdict_that_cannot_be_stored_says_where_the_readings_are(archive):
    with pytest.raises(StoreError) as caught:
        Held({"store": StoreError("r.db: the disk is full")}).pipeline(archive).fetch(7)
    assert str(archive.path) in str(caught.value)


def test_readings_that_were_kept_before_a_host_died_are_kept_once(archive):
    offset = archive.append(RUN)
    gauge = Held()
    assert gauge.pipeline(archive).fetch(7) == (offset, "shaft 7")
    assert gauge.diary == ["decide", "store", "acknowledge"]
    assert list(read_archive(archive.path)) == [RUN]
    other = Held()
    other.fetch = lambda *_: replace(RUN, boot=RUN.boot + 1)  # the gauge was reset: another cycle
    assert other.pipeline(archive).fetch(7)[0] > offset
    assert in_archive(archive) == [7, 7]


def test_ctrl_c_while_it_measures_keeps_what_was_read(archive):
    def order():
        raise KeyboardInterrupt

    gauge = Held()
    with pytest.raises(KeyboardInterrupt):
        gauge.pipeline(archive).take(order)
    assert gauge.diary == ["stop", "keep", "decide", "store", "acknowledge"]


@pytest.mark.process
def test_ctrl_c_in_a_step_of_a_calibration_keeps_its_readings(archive, tmp_path):
    given = {"shafts": [{"number": 1, "spine_thou": 500.0}]}
    with gauge_on(given, tmp_path) as gauge:
        program, pressed = gauge.run, []

        def interrupting(outcome):
            if isinstance(outcome, BlockCame) and not pressed:
                pressed.append(outcome)
                raise KeyboardInterrupt

        gauge.run = lambda shaft, label, steps, stand: program(shaft, label, steps, stand, interrupting)
        table = TableWriter(tmp_path / "force.csv", "force")
        bench = LiveBench(gauge, archive, "force calibration", Unattended(print), table)
        with pytest.raises(KeyboardInterrupt):
            bench.step(0, readings=400)
        found = gauge.settled()
    (run,) = read_archive(archive.path)
    assert (run.label, run.complete, run.cause) == ("force calibration 1", False, "STOPPED_BY_HOST")
    assert (found.state, found.held_shaft) == (State.IDLE, None)


def test_evaluating_alone_neither_decides_nor_stores(archive):
    result = evaluate_kept(keep(archive, RUN), paper_calibration())
    assert isinstance(result, ShaftResult)
    assert result.spine_thou == pytest.approx(500.0, abs=1.0)
