"""Calibration records: immutable, named by their content; and the calibration file assembled from them."""

import json
import re
import tomllib
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.errors import ConfigurationError, OutputError
from midspan.calibrate.calibration_file import (
    calibration_text,
    newest_records,
    remarks_on,
    tables_of,
    write_calibration,
)
from midspan.calibrate.force import Load
from midspan.calibrate.outcome import ProcedureResult, Remark
from midspan.calibrate.record import Circumstances, Record, load_record, newest, record_of, records_in, save_record
from midspan.measurement.calibration import EXAMPLE, Calibration, load_calibration

MADE = datetime(2026, 3, 1, 10, 30, tzinfo=UTC)
HERE = Circumstances("bench", "A. Maker", MADE, 21.5, date(2027, 3, 1))
SECTIONS = {
    "force": EXAMPLE["force"],
    "travel": EXAMPLE["travel"],
    "frame": EXAMPLE["frame"],
    "span": EXAMPLE["span"],
    "rotation": EXAMPLE["rotation"],
}


def record(kind="span", circumstances=HERE, **changes):
    """Return an invented record of a kind."""
    section = SECTIONS[kind] | changes
    finding = ProcedureResult(
        kind, section, {"n": 3.0}, {"readings_mm": (0.01, 2.0), "rule_mm": (0.03, np.inf)}, (Remark("fine", "is fine"),)
    )
    return record_of(finding, {"span_mm": [711.1, 711.2]}, {"rule": 0.03}, circumstances)


def all_five(folder, circumstances=HERE):
    """Save a record of each kind in a folder and return them."""
    made = [record(kind, circumstances) for kind in SECTIONS]
    for saved in made:
        save_record(saved, folder)
    return made


def refused(call, *arguments):
    """Return the code of the ConfigurationError that a call raises."""
    with pytest.raises(ConfigurationError) as caught:
        call(*arguments)
    return caught.value.code


def test_a_record_reads_back_as_it_was_made(tmp_path):
    made = record()
    path = save_record(made, tmp_path / "records")
    assert path.name == f"{made.id}.json"
    assert load_record(path) == made
    held = json.loads(path.read_text())
    assert held["made"] == "2026-03-01T10:30:00Z"
    assert (held["who"], held["temperature_c"], held["valid_until"]) == ("A. Maker", 21.5, "2027-03-01")
    assert held["readings"]["span_mm"] == [711.1, 711.2]
    assert held["outcome"]["budget"]["rule_mm"] == [0.03, None]
    assert held["outcome"]["remarks"] == ["is fine"]
    assert held["software"].startswith("midspan ")


def test_the_id_is_a_digest_that_any_program_can_make(tmp_path):
    import hashlib

    path = save_record(record(), tmp_path)
    held = json.loads(path.read_text())
    stated = held.pop("id")
    canonical = json.dumps(held, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert stated == f"span-{hashlib.sha256(canonical.encode()).hexdigest()[:16]}"


@pytest.mark.slow
@given(st.floats(700.0, 720.0), st.text(max_size=20), st.floats(-10.0, 40.0))
def test_the_same_content_has_the_same_id_and_any_other_another(span, who, warm):
    first = record(circumstances=replace(HERE, who=who, temperature_c=warm), span_mm=span)
    assert Record.from_dict(json.loads(first.text())).id == first.id
    assert record(circumstances=replace(HERE, who=who + ".", temperature_c=warm), span_mm=span).id != first.id
    assert record(circumstances=replace(HERE, who=who, temperature_c=warm), span_mm=span + 0.001).id != first.id


def test_the_clock_s_zone_does_not_matter():
    elsewhere = MADE.astimezone(timezone(timedelta(hours=5)))
    assert record(circumstances=replace(HERE, made=elsewhere)) == record()


def test_a_record_is_never_written_over(tmp_path):
    path = save_record(record(), tmp_path)
    before = path.read_bytes()
    with pytest.raises(OutputError) as caught:
        save_record(record(), tmp_path)
    assert (caught.value.code, path.read_bytes()) == ("exists", before)


@pytest.mark.parametrize(
    "tamper",
    [
        lambda text: text.replace("711.1", "711.3"),
        lambda text: text.replace("A. Maker", "B. Maker"),
        lambda text: text.replace('"valid_until": "2027', '"valid_until": "2029'),
        lambda text: text.replace('"u_span_mm": 0.05', '"u_span_mm": 0.01'),
    ],
)
def test_a_changed_record_is_noticed(tmp_path, tamper):
    path = save_record(record(), tmp_path)
    text = tamper(path.read_text())
    assert text != path.read_text()
    path.write_text(text)
    assert refused(load_record, path) == "changed"


def test_a_renamed_record_is_noticed(tmp_path):
    path = save_record(record(), tmp_path)
    other = path.with_name("span-0000000000000000.json")
    path.rename(other)
    assert refused(load_record, other) == "changed"


@pytest.mark.parametrize(
    ("text", "code"),
    [("{}", "no_record"), ("[]", "no_record"), ("7", "no_record"), ('{"id": "span-1", "kind": "span"}', "no_record"),
     ("", ""), ("not json", "")],
)  # fmt: skip
def test_what_is_no_record(tmp_path, text, code):
    path = tmp_path / "span-1.json"
    path.write_text(text)
    assert refused(load_record, path) == code


def test_a_value_that_is_no_number_never_becomes_a_record(tmp_path):
    with pytest.raises(ValueError, match="JSON"):
        save_record(record(span_mm=float("nan")), tmp_path)
    assert not list(tmp_path.iterdir())


def test_layout_of_a_record_does_not_matter(tmp_path):
    # pretty-printed anew by another program, keys in another order: the content is the same
    path = save_record(record(), tmp_path)
    path.write_text(json.dumps(json.loads(path.read_text()), sort_keys=True, indent=4))
    assert load_record(path) == record()


# The file


def test_the_newest_of_each_kind_makes_the_file(tmp_path):
    all_five(tmp_path)
    later = replace(HERE, made=MADE + timedelta(days=30), valid_until=date(2026, 12, 1))
    newer = record("span", later, span_mm=711.9)
    save_record(newer, tmp_path)
    out = tmp_path / "gauge.toml"
    used = write_calibration(tmp_path, out, None)
    made = load_calibration(out)
    assert made.span.span_mm == 711.9
    assert newer.id in made.calibration.records
    assert set(made.calibration.records) == {kept.id for kept in used}
    assert (made.calibration.made, made.calibration.valid_until) == (date(2026, 3, 31), date(2026, 12, 1))
    assert made.force == Calibration.model_validate(EXAMPLE).force
    assert newest(tmp_path, "span", "bench") == newer
    assert newest(tmp_path, "span", "other") is None


def test_the_same_records_make_the_same_file(tmp_path):
    records = all_five(tmp_path)
    assert calibration_text(records) == calibration_text(newest_records(tmp_path, "bench"))
    tables = tomllib.loads(calibration_text(records))
    # every number is read back to the last bit
    assert {kind: tables[kind] for kind in SECTIONS} == SECTIONS
    other = [*records[:3], record("span", span_mm=711.3), records[4]]
    assert tomllib.loads(calibration_text(other))["calibration"]["id"] != tables["calibration"]["id"]


def test_a_missing_kind_is_named_with_the_command_that_makes_it(tmp_path):
    save_record(record("span"), tmp_path)
    with pytest.raises(ConfigurationError) as caught:
        newest_records(tmp_path, None)
    kinds = re.findall(r"\b(force|travel|frame|span|rotation)\b", str(caught.value))
    assert (caught.value.code, kinds) == ("missing_kind", ["force", "travel", "frame", "rotation", "force"])
    assert refused(list, records_in(tmp_path / "none")) == "no_folder"


def test_records_of_several_gauges_are_not_mixed(tmp_path):
    all_five(tmp_path)
    save_record(record("span", replace(HERE, gauge="attic")), tmp_path)
    with pytest.raises(ConfigurationError) as caught:
        newest_records(tmp_path, None)
    assert (caught.value.code, "attic, bench" in str(caught.value)) == ("several_gauges", True)
    assert {found.gauge for found in newest_records(tmp_path, "bench")} == {"bench"}


def test_another_calibration_is_kept_aside_under_its_id_and_other_files_are_left(tmp_path):
    all_five(tmp_path)
    out = tmp_path / "gauge.toml"
    write_calibration(tmp_path, out, None)
    write_calibration(tmp_path, out, None)  # the same again changes nothing
    first, before = load_calibration(out), out.read_bytes()
    save_record(record("span", replace(HERE, made=MADE + timedelta(days=1))), tmp_path)
    write_calibration(tmp_path, out, None)
    assert load_calibration(out).calibration.id != first.calibration.id
    assert (tmp_path / f"gauge-{first.calibration.id}.toml").read_bytes() == before
    out.write_text("[bench]\n")
    with pytest.raises(OutputError) as caught:
        write_calibration(tmp_path, out, None)
    assert (caught.value.code, out.read_text()) == ("other_content", "[bench]\n")


def test_a_record_without_a_thermometer_is_as_it_was_before_gauges_had_one(tmp_path):
    held = json.loads(save_record(record(), tmp_path).read_text())
    assert not {"gauge_temperature_c", "thermometer"} & set(held)


def test_the_gauges_own_reading_is_kept_and_the_file_says_what_it_shows_at_the_rooms(tmp_path):
    chip = replace(HERE, gauge_temperature_c=28.5, thermometer="BOARD")
    made = [record(kind, chip if kind in ("force", "frame") else HERE) for kind in SECTIONS]
    made[0] = record("force", replace(chip, temperature_c=22.5, gauge_temperature_c=30.0))
    for saved in made:
        assert load_record(save_record(saved, tmp_path)) == saved
    tables = tables_of(made)["calibration"]
    assert (tables["temperature_c"], tables["thermometer"]) == (21.7, "BOARD")
    assert tables["gauge_temperature_c"] == pytest.approx(21.7 + 7.25)
    Calibration.model_validate(tables_of(made))


def test_only_what_the_newest_thermometer_showed_counts():
    later = MADE + timedelta(days=1)
    chip = replace(HERE, gauge_temperature_c=28.5, thermometer="BOARD")
    sensor = replace(HERE, made=later, gauge_temperature_c=21.8, thermometer="SHAFT")
    tables = tables_of([record("force", chip), record("frame", sensor)])["calibration"]
    assert (tables["gauge_temperature_c"], tables["thermometer"]) == (21.8, "SHAFT")


def test_records_at_different_temperatures_are_remarked_on(tmp_path):
    *others, rotation = all_five(tmp_path)
    plain = remarks_on([*others, rotation])
    assert len(plain) == 1  # about the filter; what each procedure remarked was told when it was made
    assert remarks_on([*others, record("rotation", replace(HERE, temperature_c=24.5))]) == plain
    *given, warning = remarks_on([*others, record("rotation", replace(HERE, temperature_c=30.0))])
    assert (given, re.findall(r"[\d.]*\d", warning)) == (plain, ["21.5", "30"])


def test_names_that_toml_must_escape(tmp_path):
    name = 'the "old" gauge \\ attic'
    records = all_five(tmp_path, replace(HERE, gauge=name))
    assert tomllib.loads(calibration_text(records))["calibration"]["gauge"] == name


def test_the_default_load_counts_as_not_local():
    assert Load().gravity.u_m_s2 > 0.01
