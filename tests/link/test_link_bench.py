"""Calibration programs over the whole line: the real device code on a pseudo-terminal, host, and archive."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import rig
from midspan.archive.raw_run import RawRun
from midspan.archive.reader import read_archive
from midspan.archive.writer import ArchiveWriter
from midspan.base.errors import DeviceFault, ProtocolError
from midspan.link.gauge import Gauge
from midspan.link.serial_port import SerialLink
from midspan.link.session_events import BlockCame, StateChanged
from midspan.measurement.result import Unmeasured, evaluate
from midspan.rehearsal.process import Rehearsal
from midspan.wire.records import Phase, State
from synthetic import paper_calibration

pytestmark = pytest.mark.process

STEP = replace(rig.STAY, press_steps=0, readings=80, settle_readings=8)
ZERO = replace(STEP, zero=True)
MASS = {"number": 2, "kind": "mass", "mass_g": 500.0}
NEAR = {"contact_mm": 8.0}
SCENARIO = {
    "seed": 3,
    "gauge": NEAR,
    "bench": [MASS, {"number": 3}, {"number": 5, "kind": "rigid"}],
    "shafts": [{"number": 9}],
}


def taken(gauge: Gauge, shaft: int, **changes: int | None) -> RawRun:
    """Take a step after which the head stands, and return its readings; number 1 takes the zero."""
    first = ZERO if shaft == 1 else STEP
    return gauge.run(shaft, "", [replace(first, **changes)], stand=True)


def step(gauge: Gauge, shaft: int, **changes: int | None) -> RawRun:
    """Take a step, acknowledge it and return its readings."""
    run = taken(gauge, shaft, **changes)
    gauge.acknowledge(shaft)
    return run


def settled(run: RawRun) -> np.ndarray:
    return run.status & 1 == 0


def settled_count(run: RawRun) -> float:
    return float(run.counts[settled(run)].mean())


def test_a_mass_on_the_cell_and_home_again(tmp_path: Path) -> None:
    seen: list[object] = []
    with rig.gauge_on(SCENARIO, tmp_path) as gauge:
        zero, loaded, empty = (step(gauge, number) for number in (1, 2, 3))
        assert (loaded.segments, loaded.complete, loaded.cause) == (((Phase.BENCH, len(loaded)),), True, None)
        assert settled(loaded).sum() == 80
        assert len(loaded) - 80 in (8, 9)  # one sample may have waited when the order came
        # common practice, no source: such a cell gives 1070 counts for a gram-force; creep is below 2 parts in 10,000
        assert settled_count(loaded) - settled_count(zero) == pytest.approx(500 * 1070, rel=2e-4)
        assert abs(settled_count(empty) - settled_count(zero)) < 50
        step(gauge, 4, press_steps=2000)
        assert gauge.settled().state is State.STANDING
        gauge.end_bench(seen.append)
        assert gauge.settled().state is State.IDLE
        gauge.end_bench()  # nothing to end
        assert (gauge.session.line.lost, gauge.session.repeats, gauge.session.out_of_place) == (0, 0, 0)
    states = [outcome.event.state for outcome in seen if isinstance(outcome, StateChanged)]
    assert states == [State.HOMING, State.IDLE]


def test_steps_are_kept_as_shafts_are_and_are_no_shafts(tmp_path: Path) -> None:
    archive = tmp_path / "readings.avro"
    with rig.gauge_on(SCENARIO, tmp_path) as gauge, ArchiveWriter(archive) as writer:
        runs = []
        for number in (1, 2):
            runs.append(taken(gauge, number))
            writer.append(runs[-1])
            gauge.acknowledge(number)
    assert list(read_archive(archive)) == runs
    unmeasured, _ = evaluate(runs, paper_calibration())
    assert isinstance(unmeasured, Unmeasured)


def test_a_damaged_line_gives_the_same_step(tmp_path: Path) -> None:
    scenario = SCENARIO | {"gauge": NEAR | {"zero_drift_count_per_s": 0.0}}  # the waits before the step differ
    with rig.gauge_on(scenario, tmp_path / "smooth") as gauge:
        smooth = taken(gauge, 1, readings=800)
    with rig.gauge_on(scenario, tmp_path / "rough", rig.damaging(7)) as gauge:
        rough = taken(gauge, 1, readings=800)
        assert gauge.session.line.damaged > 0
    assert np.array_equal(rough.counts[settled(rough)], smooth.counts[settled(smooth)])


def test_a_shaft_can_be_measured_after_bench_steps(tmp_path: Path) -> None:
    with rig.gauge_on(SCENARIO, tmp_path) as gauge:
        step(gauge, 1)
        step(gauge, 3, press_steps=2000)
        run = gauge.run(9, "", rig.CYCLE)
        assert run.complete
        with pytest.raises(ProtocolError, match="shaft 9:") as caught:
            taken(gauge, 4)
        assert caught.value.code == "holds_readings"


def test_a_refused_step_names_its_field(tmp_path: Path) -> None:
    with rig.gauge_on(SCENARIO, tmp_path) as gauge:
        with pytest.raises(ProtocolError) as without_zero:
            taken(gauge, 2, press_steps=10)
        with pytest.raises(ProtocolError) as too_many:
            taken(gauge, 1, readings=2400, settle_readings=100)
        assert (without_zero.value.code, too_many.value.code) == ("OUT_OF_RANGE", "BUFFER_TOO_SMALL")
        assert "0.press_steps" in str(without_zero.value)
        assert step(gauge, 1).complete


def test_too_much_force_keeps_the_readings(tmp_path: Path) -> None:
    with rig.gauge_on(SCENARIO, tmp_path) as gauge:
        step(gauge, 1)
        run = taken(gauge, 5, press_steps=4000, press_speed=1600)
        assert (run.complete, run.cause) == (False, "FORCE_LIMIT")
        assert run.counts.max() > 1_000_000
        gauge.acknowledge(5)
        with pytest.raises(DeviceFault, match="FORCE_LIMIT"):
            taken(gauge, 6)
        gauge.clear_fault()
        assert step(gauge, 6).complete


def interrupt(outcome: object) -> None:
    """Press Ctrl-C at the first block."""
    if isinstance(outcome, BlockCame):
        raise KeyboardInterrupt


def test_stop_in_mid_step_keeps_the_readings(tmp_path: Path) -> None:
    with rig.gauge_on(SCENARIO, tmp_path) as gauge:
        step(gauge, 1)
        with pytest.raises(KeyboardInterrupt):
            gauge.run(3, "", [replace(STEP, press_steps=2000, readings=1900)], True, interrupt)
        run = gauge.stop()
        assert run is not None
        assert (run.shaft, len(run) >= 64) == (3, True)
        assert run.complete or run.cause == "STOPPED_BY_HOST"
        gauge.acknowledge(3)


def test_stop_between_steps_brings_the_head_home(tmp_path: Path) -> None:
    with rig.gauge_on(SCENARIO, tmp_path) as gauge:
        step(gauge, 1)
        step(gauge, 3, press_steps=2000)
        assert gauge.stop() is None
        assert gauge.settled().state is State.IDLE


def test_the_next_host_finds_the_head_standing_and_the_step_held(tmp_path: Path) -> None:
    with Rehearsal(SCENARIO, tmp_path) as simulated:
        with SerialLink(simulated.port) as line:
            first = Gauge(line)
            step(first, 1)
            before = taken(first, 2, press_steps=100)
        with SerialLink(simulated.port) as line:
            gauge = Gauge(line)
            found = gauge.settled()
            assert (found.state, found.held_shaft) == (State.STANDING, 2)
            fetched = gauge.fetch(2, "")
            assert np.array_equal(fetched.counts, before.counts)
            gauge.acknowledge(2)
            assert step(gauge, 3, press_steps=200).press_steps[-1] == 200


SLOWLY: dict[str, int | None] = {"press_speed": 100, "until_count": 100_000, "press_steps": 4000}


def test_a_frame_is_pressed_on_a_rigid_bar(tmp_path: Path) -> None:
    """Do what a frame calibration does at the gauge: seek the bar, then take depths up to the full load."""
    with rig.gauge_on(SCENARIO | {"gauge": NEAR | {"frame_mm_per_n": 0.012}}, tmp_path) as gauge:
        zero = settled_count(step(gauge, 1))
        step(gauge, 4, press_steps=2600)
        at = int(step(gauge, 5, **SLOWLY).press_steps[-1])
        runs = [step(gauge, 6 + i, press_steps=at + 9 * i, press_speed=100) for i in range(5)]
        gauge.end_bench()
    force_n = [(settled_count(run) - zero) * 0.00980665 / 1070 for run in runs]
    travel_mm = [run.press_steps[-1] / 400 for run in runs]
    assert force_n[-1] > 8.0
    give_mm_per_n = np.polyfit(force_n, travel_mm, 1)[0]
    assert give_mm_per_n == pytest.approx(0.012, rel=0.01)


def interpreter_seen(words: list[str]) -> Callable[[int], list[str]]:
    """Return a stand-in for interpreter_command that notes how many truths it is to make room for."""

    def chosen(truths: int) -> list[str]:
        words.append(str(truths))
        return ["true"]

    return chosen


def test_room_is_made_for_the_truths_of_the_bench(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    asked: list[str] = []
    monkeypatch.setattr("midspan.rehearsal.process.interpreter_command", interpreter_seen(asked))
    Rehearsal(SCENARIO, tmp_path)
    assert asked == ["4"]
