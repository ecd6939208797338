"""Calibrations that may be used, and the doubts and faults of results made with a doubtful calibration."""

import json
from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pytest
from commands_rig import midspan, refusal, settings
from midspan.archive.writer import ArchiveWriter
from midspan.base.errors import ConfigurationError
from midspan.measurement.calibration import Calibration
from midspan.measurement.calibration_validity import check_use, usable
from midspan.measurement.result import evaluate
from synthetic import Gauge, Shaft, paper_calibration, raw_run

TODAY = date(2026, 6, 1)
MEASURED = round(datetime(2026, 6, 1, 12, tzinfo=UTC).timestamp() * 1000)


def words_of(sentence):
    """Return the words of a sentence without the punctuation around them, names in quotes with their quotes."""
    return {word.strip(",;.") for word in sentence.split()}


def dated(made=None, until=None):
    """Return the calibration of the paper gauge with these dates."""
    plain = paper_calibration()
    return plain.model_copy(
        update={"calibration": plain.calibration.model_copy(update={"made": made, "valid_until": until})}
    )


def run(gauge="paper"):
    """Return a run of the paper shaft, measured on MEASURED on a gauge of this name."""
    return replace(raw_run(Shaft(), Gauge(), np.random.default_rng(1)), started_ms=MEASURED, gauge=gauge)


@pytest.mark.parametrize("calibration", [dated(), dated(date(2026, 1, 1), date(2027, 1, 1)), dated(TODAY, TODAY)])
def test_within_its_dates_nothing_speaks_against_it(calibration):
    assert usable(calibration, TODAY) is calibration
    check_use(calibration, "paper", TODAY)
    (result,) = evaluate([run()], calibration)
    assert (result.doubts, result.faults) == ((), ())


def test_an_expired_calibration_is_refused_and_a_doubt_if_used():
    old = dated(until=date(2026, 5, 31))
    with pytest.raises(ConfigurationError, match="2026-05-31") as caught:
        check_use(old, "paper", TODAY)
    assert caught.value.code == "calibration_ran_out"
    (result,) = evaluate([run()], old)
    (doubt,) = result.doubts
    assert {"2026-06-01", "2026-05-31"} <= words_of(doubt)
    # The readings of the day before are as good as ever, whenever they are evaluated.
    assert evaluate([replace(run(), started_ms=MEASURED - 86_400_000)], old)[0].doubts == ()


def test_a_calibration_made_after_today_means_a_wrong_clock():
    ahead = dated(made=date(2031, 1, 1))
    with pytest.raises(ConfigurationError, match="2031-01-01") as caught:
        usable(ahead, TODAY)
    assert caught.value.code == "calibration_ahead"
    used = usable(ahead, TODAY, allow_doubtful=True)
    (result,) = evaluate([run()], used)
    (doubt,) = result.doubts
    assert "2031-01-01" in words_of(doubt)
    assert result.spine_thou == evaluate([run()], ahead)[0].spine_thou


def test_a_calibration_of_another_gauge_is_refused_and_a_fault_if_used():
    with pytest.raises(ConfigurationError) as caught:
        check_use(dated(), run("attic").gauge, TODAY)
    assert caught.value.code == "calibration_of_another_gauge"
    assert {"'attic'", "'paper'"} <= words_of(str(caught.value))
    (fault,) = evaluate([run("attic")], dated())[0].faults
    assert {"'attic'", "'paper'"} <= words_of(fault)


# The command line


def with_dates(path, **dates):
    """Write dates into the calibration file at `path`."""
    lines = [f"{key} = {value}" for key, value in dates.items()]
    path.write_text(path.read_text().replace('gauge = "rehearsal"', "\n".join(['gauge = "rehearsal"', *lines])))


def test_recompute_under_a_calibration_that_had_run_out(tmp_path):
    calibration, _ = settings(tmp_path)
    with_dates(calibration, valid_until="2026-05-31")
    with ArchiveWriter(tmp_path / "readings.avro") as writer:
        writer.append(run("rehearsal"))
    refused = refusal(midspan("recompute", "readings.avro", "--calibration", calibration, folder=tmp_path))
    assert refused.code == "calibration_ran_out"
    wanted = ("recompute", "readings.avro", "--calibration", calibration, "--json", "--doubtful-calibration")
    (result,) = json.loads(midspan(*wanted, folder=tmp_path).stdout)
    assert any("2026-05-31" in doubt for doubt in result["doubts"])


def test_recompute_of_another_gauge_s_readings(tmp_path):
    calibration, _ = settings(tmp_path)
    with ArchiveWriter(tmp_path / "readings.avro") as writer:
        writer.append(run("attic"))
    refused = refusal(midspan("recompute", "readings.avro", "--calibration", calibration, folder=tmp_path))
    assert refused.code == "calibration_of_another_gauge"


@pytest.mark.process
def test_measure_refuses_before_anything_moves(tmp_path):
    calibration, bands = settings(tmp_path)
    with_dates(calibration, made="2001-01-01", valid_until="2002-01-01")
    measure = ("measure", "--port", "rehearsal", "--shaft", 1, "--calibration", calibration, "--bands", bands)
    assert refusal(midspan(*measure, folder=tmp_path)).code == "calibration_ran_out"
    done = midspan(*measure, "--doubtful-calibration", "--json", folder=tmp_path)
    assert any("2002-01-01" in doubt for doubt in json.loads(done.stdout)["doubts"])


@pytest.mark.process
def test_measure_refuses_a_gauge_too_cold_for_its_calibration(tmp_path):
    calibration, bands = settings(tmp_path)
    warm = calibration.read_text().replace("temperature_c = 21.0", "temperature_c = 30.0")
    calibration.write_text(warm)  # the simulated gauge is at 21
    measure = ("measure", "--port", "rehearsal", "--shaft", 1, "--calibration", calibration, "--bands", bands)
    refused = refusal(midspan(*measure, folder=tmp_path))
    assert refused.code == "calibration_too_cold"
    assert {"21.0", "25", "35"} <= words_of(str(refused))
    result = json.loads(midspan(*measure, "--doubtful-calibration", "--json", folder=tmp_path).stdout)
    assert result["temperature_c"] == 21.0
    assert any({"21", "25", "35"} <= words_of(doubt) for doubt in result["doubts"])


def test_a_calibration_is_used_within_its_range_of_temperature():
    there = dated()
    low, high = there.calibration.range_c
    for celsius in (low, high, None):
        check_use(there, "paper", TODAY, celsius)
    for celsius, code in ((low - 0.1, "calibration_too_cold"), (high + 0.1, "calibration_too_warm")):
        with pytest.raises(ConfigurationError) as caught:
            check_use(there, "paper", TODAY, celsius)
        assert caught.value.code == code


def test_a_reservation_of_the_calibration_is_a_doubt_of_every_result():
    plain = dated()
    noted = plain.model_copy(
        update={"calibration": plain.calibration.model_copy(update={"reservations": ("cell replaced",)})}
    )
    assert isinstance(noted, Calibration)
    assert evaluate([run()], noted)[0].doubts == ("cell replaced",)
