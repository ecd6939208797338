"""Which procedure comes next: by records that are missing, expired or newer than the calibration file."""

from datetime import UTC, datetime, timedelta

import pytest
from midspan.calibrate.calibration_file import write_calibration
from midspan.calibrate.order import FILE, ORDER, gauges_in, newest_of_each, next_calibration, next_procedure
from midspan.calibrate.outcome import ProcedureResult
from midspan.calibrate.record import Circumstances, record_of, records_in, save_record
from midspan.measurement.calibration import EXAMPLE
from midspan.rehearsal import scenario

MADE = datetime(2026, 3, 1, 10, tzinfo=UTC)
TODAY = MADE.date()
SECTIONS = EXAMPLE | {
    "sinking": {"sink_mm_per_n": 8e-4, "u_sink_mm_per_n": 1e-4},
    "filter": {"delay_s": 0.025, "u_delay_s": 1e-4, "width_s": 0.0144, "u_width_s": 3e-4},
}


def record(kind, made=MADE, days=365, gauge="bench"):
    """Return a record of a kind that is valid for so many days."""
    held = Circumstances(gauge, "", made, 20.0, (made + timedelta(days=days)).date())
    return record_of(ProcedureResult(kind, SECTIONS[kind], {}, {}), {}, {}, held)


def following(*records, used=()):
    """Return the procedure that comes next after these records."""
    return next_procedure(newest_of_each(records), TODAY, used)


def test_the_first_kind_that_is_missing_comes_next_and_the_file_last():
    made = [record(kind) for kind in ORDER]
    assert [following(*made[:number]) for number in range(len(ORDER))] == list(ORDER)
    assert following(*made) == FILE
    assert following(*made, used=[each.id for each in made]) == ""


def test_an_expired_record_is_made_again_and_a_newer_one_goes_into_a_new_file():
    old = MADE - timedelta(days=400)
    made = [record(kind, old) if kind == "span" else record(kind) for kind in ORDER]
    assert following(*made) == "span"
    again = record("span")
    assert following(*made, again, used=[each.id for each in made]) == FILE


@pytest.fixture
def folder(tmp_path):
    for kind in ORDER:
        save_record(record(kind), tmp_path / "records")
    return tmp_path


def test_a_file_in_use_needs_nothing_until_it_expires_or_a_record_is_newer(folder):
    file, records = folder / "gauge.toml", folder / "records"
    assert next_calibration(records, file, None, TODAY) == FILE
    write_calibration(records, file, None)
    assert next_calibration(records, file, None, TODAY) == ""
    assert next_calibration(records, file, None, TODAY + timedelta(days=366)) == "force"
    save_record(record("force", MADE + timedelta(days=2)), records)
    assert next_calibration(records, file, None, TODAY + timedelta(days=2)) == FILE


def test_a_file_without_records_is_enough_and_other_gauges_do_not_count(folder):
    file = folder / "demo.toml"
    file.write_text(scenario.example_calibration(), encoding="utf-8")
    assert next_calibration(folder / "none", file, None, TODAY) == ""
    assert next_calibration(folder / "records", None, "attic", TODAY) == "force"
    assert gauges_in(records_in(folder / "records")) == ["bench"]
