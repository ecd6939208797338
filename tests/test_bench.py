"""The bench works and its yardstick agrees with the library; nothing here is timed."""

import importlib
import json
import sys
from pathlib import Path

import numpy as np
import pytest
from bench import __main__ as entry
from bench import cycle, device_cost, plain, throughput
from bench.figure import Figure, at_least, at_most, plainly
from midspan.archive.reader import read_archive
from midspan.archive.writer import ArchiveWriter
from midspan.measurement.result import ShaftResult, evaluate
from midspan.rehearsal import scenario
from midspan.rehearsal.process import interpreter_command
from synthetic import Gauge, Shaft, paper_calibration, raw_run

pytestmark = pytest.mark.process

CALIBRATION = paper_calibration()
SHAFTS = [
    Shaft(number=number, spine_thou=300.0 + 60 * number, spread_thou=2.0 + number, stiff_side_deg=20.0 * number,
          bow_mm=0.03 * (number + 1), hysteresis=0.001 * number)
    for number in range(8)
]  # fmt: skip


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    """Return an archive of shafts with spikes, slip and drift."""
    path = tmp_path_factory.mktemp("bench") / "batch.avro"
    gauge = Gauge(spikes=0.003, slip=0.004, drift_n=0.001)
    with ArchiveWriter(path) as writer:
        for shaft in SHAFTS:
            writer.append(raw_run(shaft, gauge, np.random.default_rng(shaft.number)))
    return path


def test_the_plain_loop_finds_what_the_library_finds(archive):
    ours = evaluate(list(read_archive(archive)), CALIBRATION)
    theirs = list(plain.results(archive, CALIBRATION))
    assert len(ours) == len(theirs) == len(SHAFTS)
    for result, (shaft, spine, spread, side, runout, hysteresis) in zip(ours, theirs, strict=True):
        assert isinstance(result, ShaftResult)
        assert shaft == result.shaft
        assert spine == pytest.approx(result.spine_thou, abs=0.005)
        assert spread == pytest.approx(result.spread_thou, abs=0.03)
        assert (side - result.stiff_side_deg + 90) % 180 - 90 == pytest.approx(0.0, abs=0.5)
        assert runout == pytest.approx(result.runout_mm, abs=0.001)
        assert hysteresis == pytest.approx(result.hysteresis_pct, abs=0.02)


def test_the_plain_loop_finds_the_truth(archive):
    for shaft, (_, spine, spread, *_) in zip(SHAFTS, plain.results(archive, CALIBRATION), strict=True):
        assert spine == pytest.approx(shaft.spine_thou, abs=0.1)
        assert spread == pytest.approx(shaft.spread_thou, abs=0.1)


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="no /proc on this system")
def test_the_memory_of_who_asks_is_not_counted(archive, tmp_path):
    (tmp_path / "cal.toml").write_text(
        scenario.example_calibration(1).replace('gauge = "rehearsal"', 'gauge = "paper"')
    )
    ballast = np.ones(1 << 26)  # half a gigabyte
    alone = throughput.alone(archive, tmp_path / "cal.toml")
    assert alone["shafts"] == len(SHAFTS)
    assert 20 < alone["peak_mb"] < ballast.nbytes / 2**20 / 2


def test_a_batch_is_measured_and_watched(tmp_path):
    _, _, verdicts, link, latency_s, _ = cycle.measured(tmp_path, 3)
    assert len(verdicts) == len(latency_s) == 3
    assert link.readings == sum(len(verdict.run) for verdict in verdicts)
    assert 4 < link.bytes / link.readings <= 6
    assert (latency_s > 0).all()


@pytest.mark.skipif(interpreter_command()[0] == sys.executable, reason="no MicroPython wheel for this platform")
def test_the_device_keeps_to_its_bytes_and_its_heap(tmp_path):
    rows = device_cost.figures(tmp_path)
    assert any(row.met for row in rows)
    assert [row.name for row in rows if row.met is False] == []


@pytest.mark.parametrize("name", sorted(entry.PARTS))
def test_every_part_of_the_bench_can_be_loaded(name):
    part = importlib.import_module(entry.PARTS[name].__module__)
    assert entry.PARTS[name] is part.figures
    assert part.__doc__


def test_an_unknown_part_is_named_with_those_there_are():
    with pytest.raises(SystemExit) as caught:
        entry.main(["speed"])
    assert all(name in str(caught.value) for name in ("speed", *entry.PARTS))


def test_figures_are_printed_and_written_and_say_whether_the_aim_is_met(tmp_path, monkeypatch, capsys):
    def figures(folder):
        assert folder.is_dir()
        return [at_least("fast", 6.0, "times", 5), at_most("slow", 30.0, "ms", 20), plainly("other", 1.0, "s")]

    monkeypatch.setattr(entry, "PARTS", {"cycle": figures})
    monkeypatch.chdir(tmp_path)
    assert entry.main([]) is False
    shown = capsys.readouterr().out
    assert [line.split()[-1] for line in shown.splitlines() if "least" in line or "most" in line] == ["yes", "NO"]
    rows = json.loads((tmp_path / "bench-results.json").read_text())
    assert [(row["name"], row["value"], row["met"]) for row in rows] == [
        ("fast", 6.0, True), ("slow", 30.0, False), ("other", 1.0, None),
    ]  # fmt: skip
    assert [Figure(**row).as_dict() for row in rows] == rows


def test_an_aim_is_met_or_missed():
    assert (at_least("a", 5.0, "", 5).met, at_most("a", 5.0, "", 5).met) == (True, True)
    assert (at_least("a", 4.9, "", 5).met, at_most("a", 5.1, "", 5).met) == (False, False)


def test_what_is_no_number_meets_no_aim():
    assert (at_least("a", float("nan"), "", 1).met, at_most("a", float("nan"), "", 1).met) == (False, False)
