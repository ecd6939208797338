"""The commands of the hand bench: what is typed is kept, what looks wrong is refused in a single line."""

import csv
import json
import math
import re
import tomllib
from dataclasses import replace

import numpy as np
import pytest
import typer
from answering import Answering
from commands_rig import midspan, refusal
from hand_rig import (
    BENCH,
    EIGHT,
    TrueBench,
    bench_file,
    good,
    measure,
    readings,
    result_of,
    session_of,
    write,
)
from midspan.base.errors import ArchiveError, ConfigurationError, ReadingsError, StoreError
from midspan.cli import hand
from midspan.decision.decision import Outcome, judge
from midspan.hand_bench import guide as hand_guide
from midspan.hand_bench import prompts
from midspan.hand_bench.assigned_value import assigned_from
from midspan.hand_bench.bench import EXAMPLE, HandBench, load_bench
from midspan.hand_bench.record import NAMES, HandRecord, HandShaft, ShaftAndRoom, Typed
from midspan.hand_bench.result import HandResult
from midspan.hand_bench.sessions import session_at, sessions
from midspan.measurement.definition import DEFINITION
from midspan.rehearsal import scenario
from midspan.report.hand_text import hand_json
from screens import DATES, TIMES, screen
from stores import store_in
from synthetic import Shaft

BANDS = scenario.example_bands()


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "hand-bench.toml").write_text(BENCH, encoding="utf-8")
    (tmp_path / "bands.toml").write_text(BANDS, encoding="utf-8")
    return tmp_path


@pytest.mark.slow
def test_from_a_table_to_result_store_bands_and_picture(folder) -> None:
    write(folder, good())
    done = measure(folder, "--bands", "bands.toml", "--picture", "bar.png", "--operator", "Ann")
    assert not done.returncode, done.stderr
    assert (folder / "bar.png").stat().st_size > 20_000
    with store_in(folder).open(create=False) as store:
        stored = store.latest("bar-1")
    assert stored.decision.outcome in (Outcome.ACCEPTED, Outcome.DOUBTFUL)
    result = stored.result
    assert isinstance(result, HandResult)
    assert result.spine_thou == pytest.approx(501.0, abs=2.0)
    assert session_at(folder / stored.run.archive, stored.run.byte_offset).operator == "Ann"


@pytest.mark.slow
def test_show_prints_and_draws_a_hand_result(folder, snapshot) -> None:
    write(folder, good())
    measure(folder)
    shown = midspan("show", "bar-1", "--picture", "again.svg", folder=folder)
    assert screen(shown.stdout, DATES, TIMES) == snapshot
    assert "<svg" in (folder / "again.svg").read_text(encoding="utf-8")
    told = json.loads(midspan("show", "bar-1", "--json", folder=folder).stdout)
    assert told["gauge"] == "hand bench"
    assert sum(u**2 for u in told["budget"].values()) == pytest.approx(told["u_spine_thou"] ** 2)


def test_json_has_no_word_for_what_is_no_number() -> None:
    broken = replace(result_of(readings(Shaft(500.0, 1.0))), u_spread_thou=math.nan, runout_mm=math.inf)
    told = json.loads(hand_json(broken, None), parse_constant=pytest.fail)
    assert (told["u_spread_thou"], told["runout_mm"]) == (None, None)
    assert told["spine_thou"] == broken.spine_thou


@pytest.mark.slow
def test_four_readings_are_enough_for_a_result_but_not_for_a_picture(folder) -> None:
    write(folder, good(angles=(0, 90, 180, 270)))
    assert "four.png: 4 " in str(refusal(measure(folder, "--picture", "four.png")))
    told = json.loads(midspan("show", "bar-1", "--json", folder=folder).stdout)
    assert (told["positions"], told["sees_all"]) == (4, False)


def test_bands_that_limit_what_was_not_measured_take_no_shaft() -> None:
    """Judge a shaft without a hysteresis reading: a bin with that limit leaves it doubtful, another takes it."""
    from midspan.decision.bands import Bands

    result = result_of(readings(Shaft(500.0, 1.0), again=False))
    bins = [{"name": "500", "spine_thou": [490.0, 510.0], "spread_max_thou": 6.0}]
    assert judge(result, Bands.model_validate({"bin": bins})).bin == "500"
    strict = Bands.model_validate({"bin": [bins[0] | {"hysteresis_max_pct": 1.0}]})
    assert judge(result, strict).outcome is Outcome.DOUBTFUL
    assert judge(result, strict).reasons[0].split()[0] == "hysteresis"


@pytest.mark.slow
def test_recompute_gives_the_same_numbers_again_beside_the_old(folder) -> None:
    write(folder, good())
    measure(folder)
    done = midspan("hand", "recompute", "hand-readings.jsonl", folder=folder)
    assert "bar-1" in done.stdout
    assert re.findall(r"\d+", done.stderr.splitlines()[-1]) == ["0", "1"]
    judged = midspan("hand", "recompute", "--bands", "bands.toml", folder=folder)
    assert re.findall(r"\d+", judged.stderr.splitlines()[-1])[0] == "1"
    with store_in(folder).open(create=False) as store:
        old, new = store.history("bar-1")
    assert old.result == new.result
    assert old.decision != new.decision
    assert old.batch == new.batch


@pytest.mark.slow
def test_a_span_measured_anew_changes_the_old_readings_results_and_changes_says_why(folder) -> None:
    write(folder, good())
    measure(folder)
    other = BENCH.replace("span_mm = 711.2", "span_mm = 711.4").replace("u_span_mm = 0.1", "u_span_mm = 0.02")
    (folder / "better.toml").write_text(other, encoding="utf-8")
    error = refusal(midspan("hand", "recompute", "--bench", "better.toml", folder=folder), StoreError)
    assert (error.code, "'school'" in str(error)) == ("calibration_differs", True)
    (folder / "better.toml").write_text(other.replace('id = "school"', 'id = "school-2"'), encoding="utf-8")
    assert midspan("hand", "recompute", "--bench", "better.toml", folder=folder).returncode == 0
    (step,) = json.loads(midspan("calibrate", "changes", "--json", folder=folder).stdout)
    # Longer span, same sag: stiffer by three times the relative change (P L^3 / 48 EI).
    assert step["differences"]["spine_thou"] == pytest.approx(-501 * 3 * 0.2 / 711.2, rel=0.01)
    assert step["expected_spine_thou"] == pytest.approx(step["differences"]["spine_thou"], rel=2e-3)
    (cause,) = [cause for cause in step["causes"] if cause.startswith("span.span_mm: ")]
    assert re.findall(r"\d+\.\d+", cause) == ["711.2", "711.4"]


@pytest.mark.slow
def test_a_bench_that_changed_needs_another_id_and_is_told_before_anything_is_read(folder) -> None:
    write(folder, good())
    measure(folder)
    size = (folder / "hand-readings.jsonl").stat().st_size
    (folder / "hand-bench.toml").write_text(BENCH.replace("span_mm = 711.2", "span_mm = 711.4"), encoding="utf-8")
    assert refusal(measure(folder), StoreError).code == "calibration_differs"
    assert (folder / "hand-readings.jsonl").stat().st_size == size


def swapped(each):
    return replace(each, unloaded=each.loaded, loaded=each.unloaded, unloaded_again="")


def sunk(each, by):
    return replace(each, unloaded="0", loaded=by, unloaded_again="")


BAD = {
    "columns swapped": (lambda t: [swapped(each) for each in t], "direction"),
    "one line swapped": (lambda t: [swapped(t[0]), *t[2:8:2]], "direction_of_one"),
    "inches typed as mm": (lambda t: [sunk(each, "0.500") for each in t], "unit"),
    "thousandths typed as mm": (lambda t: [sunk(each, "501") for each in t], "unit"),
    "no repeats": (lambda t: [t[0], t[2]], "repeats"),
    "one position": (lambda t: [each for each in t if each.angle_deg == "0"], "positions"),
    "a slip of a letter": (lambda t: [replace(t[0], loaded="l5.7"), *t[1:]], "'l5.7'"),
    "not finite": (lambda t: [replace(t[0], loaded="nan"), *t[1:]], "'nan'"),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_bad_readings_are_refused_and_kept(folder, name) -> None:
    change, named = BAD[name]
    typed = change(good())
    write(folder, typed)
    error = refusal(measure(folder), ReadingsError)
    assert error.code == named if named.isidentifier() else named in str(error)
    assert re.findall(r"(\S+) at byte (\d+)", str(error)) == [("hand-readings.jsonl", "0")]
    (kept,) = sessions(folder / "hand-readings.jsonl")
    assert kept.typed == tuple(typed)
    assert not (folder / "results.db").exists()


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("angle_deg,unloaded\n0,1\n", {"read.csv", "loaded"}),
        ("angle_deg,unloaded,loaded\n0,1.0\n", {"read.csv", "line", "2", "3"}),
        ("angle_deg,unloaded,loaded\n0,1.0,\n", {"read.csv", "line", "2", "loaded"}),
        ("angle_deg,unloaded,loaded\n", {"read.csv"}),
        ("angle_deg,repeat,unloaded,loaded\n0,1,1.0,13.7\n0,1,1.0,13.8\n", {"read.csv", "0", "1", "2"}),
    ],
)
def test_a_bad_table_is_refused(folder, text, named) -> None:
    (folder / "read.csv").write_text(text, encoding="utf-8")
    error = refusal(measure(folder), ReadingsError)
    assert named <= {word.strip(".,:;") for word in str(error).split()}


def test_a_missing_table_is_refused(folder) -> None:
    assert "gone.csv" in str(refusal(midspan("hand", "measure", "--shaft", 1, "--csv", "gone.csv", folder=folder)))


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ("mass_g = 880.0", "mass_g = 1.94", "weight.mass_g = 1.94 "),
        ("span_mm = 711.2", "span_mm = 28", "span.span_mm = 28 "),
        ("gravity_m_s2 = 9.80665", "gravity_m_s2 = 981", "place: gravity 981 "),
        ("gravity_m_s2 = 9.80665", "height_m = 100", "latitude_deg"),
        ("graduation = 0.01", "graduations = 0.01", "indicator.graduations "),
        ("u_mass_g = 0.5", "u_mass_g = -0.5", "weight.u_mass_g"),
    ],
)
def test_a_bench_file_with_a_mistake_is_refused(folder, old, new, named) -> None:
    (folder / "hand-bench.toml").write_text(BENCH.replace(old, new, 1), encoding="utf-8")
    write(folder, good())
    error = refusal(measure(folder), ConfigurationError)
    assert named in str(error)
    assert "hand-bench.toml" in str(error)


def test_a_missing_repeat_and_a_slip_are_doubts_that_name_the_place() -> None:
    typed = good()
    short = result_of(typed[:-1])
    (doubt,) = short.doubts
    assert re.findall(r"\d+", doubt) == ["315", "1", "2"]
    typed[9] = replace(typed[9], loaded=f"{float(typed[9].loaded) + 1:.2f}")
    slip = result_of(typed)
    assert any({"45", "2:", "loaded"} <= set(doubt.split()) for doubt in slip.doubts)


def test_a_dent_at_one_position_is_doubted() -> None:
    typed = [
        replace(each, loaded=str(float(each.loaded) + 0.4 * (each.angle_deg == "90")))
        for each in readings(repeats=4, bench=TrueBench(noise=0.004))
    ]
    assert len(result_of(typed).doubts) == 1


def test_gravity_comes_from_latitude_and_height() -> None:
    """Compare with WGS 84: 9.80620 at 45 degrees, 0.0031 less at 1000 m (free-air change of 0.3086 mGal per m)."""
    low, high = (
        HandBench.model_validate(EXAMPLE | {"place": {"latitude_deg": 45.0, "height_m": height}}).place.gravity()
        for height in (0.0, 1000.0)
    )
    assert low.m_s2 == pytest.approx(9.80620, abs=1e-5)
    assert low.m_s2 - high.m_s2 == pytest.approx(3.086e-3, rel=2e-3)


def test_a_record_only_grows_and_the_last_reading_of_a_place_counts(tmp_path) -> None:
    record = HandRecord(tmp_path / "hand.jsonl")
    place = record.begin(bench_file(), HandShaft(7, "bar", "Ann"), 0)
    record.keep(place, Typed("0", "1", "0.00", "12.70", ""))
    before = record.path.read_bytes()
    record.keep(place, Typed("0", "1", "0.00", "12.71", ""))
    second = record.begin(bench_file(), HandShaft(8, "", ""), 1)
    assert record.path.read_bytes().startswith(before)
    first, other = sessions(record.path)
    assert [each.loaded for each in first.typed] == ["12.71"]
    assert (other.byte_offset, other.typed) == (second, ())
    assert record.path.read_text(encoding="utf-8").count("12.70") == 1


def test_a_file_of_another_kind_is_refused(folder) -> None:
    (folder / "bench.jsonl").write_text('{"a": 1}\nno reading\n', encoding="utf-8")
    assert refusal(midspan("hand", "recompute", "bench.jsonl", folder=folder), ArchiveError).code == "no_sessions"


@pytest.mark.parametrize("label", ["two\nlines", "red\x1b[31m", "x" * 65])
def test_a_label_that_no_screen_could_show_is_refused(folder, label) -> None:
    write(folder, good())
    done = measure(folder, label=label)
    assert done.returncode == 2
    assert " 64 " in " ".join(done.stderr.split())
    assert not (folder / "hand-readings.jsonl").exists()


def test_a_torn_line_harms_no_other(tmp_path) -> None:
    record = HandRecord(tmp_path / "hand.jsonl")
    place = record.begin(bench_file(), HandShaft(7, "bar", ""), 0)
    record.keep(place, Typed("0", "1", "0.00", "12.70", ""))
    with record.path.open("ab") as file:
        file.write(b'{"session": 0, "angle_d')
    record.keep(place, Typed("90", "1", "0.00", "12.72", ""))
    found = []
    with pytest.raises(ArchiveError, match="line 3: ") as caught:
        found.extend(sessions(record.path))
    assert caught.value.code == "damaged"
    assert [each.angle_deg for each in session_at(record.path, place).typed] == ["0", "90"]


def test_a_person_is_led_through_the_readings_and_can_go_back() -> None:
    dial = {
        "unloaded": ["0", "0.1", "0", "0.1"], "loaded": ["x", "12,7", "b", "12.9", "12.8"],
        "unloaded_again": ["0", "0", "0.1"],
    }  # fmt: skip
    person = Answering(dial)
    bench = HandBench.model_validate(bench_file())
    guide = hand_guide.Guide(hand_guide.reading_order(2, 1), bench, person)
    assert [each for each in guide.readings() if isinstance(each, Typed)] == [
        Typed("0", "1", "0", "12,7", "0"),
        Typed("0", "1", "0", "12.9", "0"),
        Typed("180", "1", "0.1", "12.8", "0.1"),
    ]
    assert any("'x'" in str(said) for said in person.said)


def test_a_person_without_a_bench_file_is_asked_for_it_once(tmp_path) -> None:
    path, person = tmp_path / "hand-bench.toml", Answering({"id": "school", "before_reading": "t", "span_mm": "711,5"})
    prompts.make_bench(path, person)
    bench = load_bench(path)
    assert (bench.bench.id, bench.weight.mass_g, bench.place.latitude_deg) == ("school", 880.0, 45.0)
    assert (bench.supports.before_reading, bench.span.span_mm) == ("tap", 711.5)
    asked = len(person.asked)
    prompts.make_bench(path, person)
    assert len(person.asked) == asked


def test_an_absurd_answer_leaves_no_bench_file(tmp_path) -> None:
    person, path = Answering({"mass_g": ["heavy", "1.94"]}), tmp_path / "hand-bench.toml"
    with pytest.raises(ConfigurationError):
        prompts.make_bench(path, person)
    assert (person.ids.count("mass_g"), path.exists()) == (2, False)


def test_the_whole_conversation_on_the_command_line(folder, monkeypatch) -> None:
    typed = good(angles=(0, 90, 180, 270), repeats=1)
    dial = {name: [getattr(each, name) for each in typed] for name in NAMES}
    person = Answering({"shaft diameter": ["six", "6,2"], **dial})  # a slip first, and no temperature
    monkeypatch.setattr(hand, "Prompter", lambda: person)
    done = midspan("hand", "measure", "--shaft", 3, "--positions", 4, "--repeats", 1, folder=folder)
    assert person.ids == ["shaft diameter", "shaft diameter", "room temperature", *NAMES * 4]
    assert done.returncode == 0
    (kept,) = sessions(folder / "hand-readings.jsonl")
    assert kept.at == ShaftAndRoom(6.2, None)


def test_a_person_who_stops_keeps_what_was_typed(folder, monkeypatch) -> None:
    first = iter(["3.00"])

    def unloaded(_prompt):
        if (typed := next(first, None)) is None:
            raise typer.Abort
        return typed

    person = Answering({"unloaded": unloaded, "loaded": "15.70", "unloaded_again": "3.00"})
    monkeypatch.setattr(hand, "Prompter", lambda: person)
    assert midspan("hand", "measure", "--shaft", 3, folder=folder).returncode != 0
    (kept,) = sessions(folder / "hand-readings.jsonl")
    assert kept.typed == (Typed("0", "1", "3.00", "15.70", "3.00"),)


def mountings(spines, u=0.3):
    """Return results of one bar on several days, each with the same budget."""
    plain = result_of(readings(bench=TrueBench(noise=0.002)))
    return [replace(plain, spine_thou=spine, started_ms=i) for i, spine in enumerate(spines)]


def test_an_assigned_value_averages_mountings_but_not_what_they_share() -> None:
    """Divide the scatter by root n (JCGM 100:2008, 4.2.3), but not weight, span and dial."""
    spines = [500.0, 501.0, 499.0, 500.5, 499.5]
    results = mountings(spines)
    bar = assigned_from(results, "bar")
    shared = results[0].u_spine_thou ** 2 - results[0].u_causes[0] ** 2
    assert bar.spine_thou == pytest.approx(500.0)
    assert bar.u_spine_thou**2 == pytest.approx(shared + np.var(spines, ddof=1) / 5, rel=1e-9)
    assert bar.mountings == 5
    assert bar.dof == pytest.approx(bar.u_spine_thou**4 / (np.var(spines, ddof=1) / 5) ** 2 * 4)


@pytest.mark.slow
def test_a_bar_is_assigned_and_then_used_as_a_reference(folder) -> None:
    for seed in (1, 2, 3):
        write(folder, good(seed=seed))
        measure(folder)
    done = midspan("hand", "assign", "bar-1", "--out", "bar-1.toml", folder=folder)
    assert {"3", "school"} <= set(done.stdout.split())
    bar = tomllib.loads((folder / "bar-1.toml").read_text(encoding="utf-8"))["bar"]
    assert bar["spine_thou"] == pytest.approx(501.0, abs=2.0)
    assert 0.4 < bar["u_spine_thou"] < 1.0
    assert bar["definition"] == DEFINITION
    before = (folder / "bar-1.toml").read_bytes()
    refusal(midspan("hand", "assign", "bar-1", "--out", "bar-1.toml", folder=folder))
    assert (folder / "bar-1.toml").read_bytes() == before
    studied = midspan("study", "bias", "--bar", "bar-1.toml", folder=folder)
    assert studied.returncode == 0, studied.stderr


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (lambda found: [], "no_results"),
        (lambda found: [replace(found[0], doubts=("read it again",)), *found[1:]], "in_doubt"),
        (lambda found: [replace(found[0], calibration="other"), *found[1:]], "benches"),
        (lambda found: [replace(found[0], definition="middle of the supports"), *found[1:]], "definitions"),
    ],
)
def test_a_bar_without_sound_results_of_one_bench_is_refused(change, code) -> None:
    with pytest.raises(ReadingsError) as caught:
        assigned_from(change(mountings([500.0, 500.1])), "bar")
    assert caught.value.code == code


@pytest.mark.slow
def test_clock_hours_are_angles(folder) -> None:
    rows = [("clock", "unloaded", "loaded")]
    rows += [
        (i // 30 or 12, each.unloaded, each.loaded) for each in good() for i in [int(each.angle_deg)] if i % 90 == 0
    ]
    with (folder / "read.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(rows)
    assert not measure(folder).returncode
    (kept,) = sessions(folder / "hand-readings.jsonl")
    assert {each.angle_deg for each in kept.typed} == {"0", "90", "180", "270"}
    assert {each.repeat for each in kept.typed} == {"1", "2"}


def test_evaluating_a_session_again_gives_the_same_bits() -> None:
    typed = good(angles=EIGHT)
    assert result_of(typed).as_dict() == result_of(list(typed)).as_dict()
    assert session_of(typed).typed == tuple(typed)
