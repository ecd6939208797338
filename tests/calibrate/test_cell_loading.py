"""Loading the cell with masses: the sign is checked before any series; effect of a lever or a pulley on the force.

The gauge is simulated; the direction in which a load acts is its own truth, which the host sees in counts only.
"""

import json
import math
import re
import shlex
import tomllib
from datetime import UTC, datetime

import pytest
from answering import Answering
from commands_rig import midspan, refusal
from midspan.base.errors import CellSignError, ConfigurationError, ReadingsError
from midspan.calibrate.cell_loading import Loading, LoadingWay
from midspan.calibrate.force import Load, calibrate_force
from midspan.calibrate.guide import GuidedCalibration, finish
from midspan.calibrate.guided_force import force
from midspan.calibrate.readings_table import readings_of
from midspan.calibrate.record import load_record
from midspan.rehearsal import scenario
from places import ROOT

pytestmark = pytest.mark.process

NOTES = ROOT / "hardware_notes"
SIGN = ["sign empty", "sign push", "sign mass"]
MASSES = [250.0, 500.0, 1000.0]
SWAPPED = scenario.GAUGE | {"count_per_n": -scenario.GAUGE["count_per_n"]}
ON_THE_BENCH = scenario.cell_loaded


def guided(folder, load=None):
    """Return the person who is asked, and a function that calibrates the simulated gauge."""
    person = Answering()
    session = GuidedCalibration(
        folder / "records", "rehearsal", "", 20.0, datetime.now(UTC), 365, "rehearsal", None, person
    )
    return person, lambda: finish(session, force(session, load or Load(), MASSES, 1, creep=False))


def hung_on_the_head(loads_g, ratio=1.0):
    """Return a scenario in which masses pull the head away from the cell."""
    return ON_THE_BENCH(loads_g, -ratio)


def never_loaded(loads_g, _ratio=1.0):
    """Return a scenario in which no mass is put on."""
    return [{"number": i} for i, _ in enumerate(ON_THE_BENCH(loads_g), 1)]


def test_the_sign_comes_first_and_then_the_series(tmp_path):
    person, work = guided(tmp_path)
    made = work()
    assert person.ids == [*SIGN, *["put on"] * 7]
    loads = [re.findall(r"(\d+) g", prompt.words) for prompt in person.asked[2:]]
    assert loads == [["1000"], [], ["250"], ["500"], ["1000"], ["500"], ["250"], []]
    found = made.finding.section["newton_per_count"]
    assert found == pytest.approx(1 / scenario.GAUGE["count_per_n"], rel=1e-3)


@pytest.mark.parametrize(
    ("gauge", "put_on", "cause", "questions"),
    [
        (SWAPPED, ON_THE_BENCH, "wires", 2),
        (scenario.GAUGE, hung_on_the_head, "loading", 3),
        (SWAPPED, hung_on_the_head, "wires", 2),  # the mistakes hide each other: under the masses the count rises
    ],
)
def test_a_wrong_sign_ends_before_any_series(tmp_path, monkeypatch, gauge, put_on, cause, questions):
    monkeypatch.setattr(scenario, "GAUGE", gauge)
    monkeypatch.setattr(scenario, "cell_loaded", put_on)
    person, work = guided(tmp_path)
    with pytest.raises(CellSignError) as caught:
        work()
    assert caught.value.cause == cause
    assert person.ids == SIGN[:questions]
    assert [path.name for path in (tmp_path / "records").iterdir()] == ["bench-readings.avro"]


def test_a_load_that_was_never_put_on_is_no_sign(tmp_path, monkeypatch):
    monkeypatch.setattr(scenario, "cell_loaded", never_loaded)
    person, work = guided(tmp_path)
    with pytest.raises(ReadingsError) as caught:
        work()
    assert caught.value.code == "no_response"
    assert not isinstance(caught.value, CellSignError)
    assert person.ids == SIGN[:2]


def test_the_command_refuses_a_wrong_sign_in_one_line(tmp_path, monkeypatch):
    monkeypatch.setattr(scenario, "cell_loaded", hung_on_the_head)
    done = midspan("calibrate", "force", "--port", "rehearsal", "--yes", folder=tmp_path)
    assert refusal(done, CellSignError).cause == "loading"


def test_a_table_with_the_wrong_sign_is_refused_and_makes_no_record(tmp_path):
    rows = [f"{way},{mass},{50_000 - 1070 * mass}" for way, mass in
            (("up", 0), ("up", 250), ("up", 500), ("up", 1000), ("down", 500), ("down", 250), ("down", 0))]  # fmt: skip
    (tmp_path / "force.csv").write_text("direction,mass_g,count\n" + "\n".join(rows) + "\n")
    error = refusal(midspan("calibrate", "force", "--csv", "force.csv", folder=tmp_path), CellSignError)
    assert (error.cause, str(error).count("force.csv")) == (None, 2)  # the table, and where the readings are
    assert not (tmp_path / "calibration").exists()


def test_a_rising_table_does_not_prove_the_sign():
    # Masses that pull on a cell with swapped wires make the count rise as well.
    assert "sign_unseen" in codes(calibrate_force(table(), Load(), sign_seen=False))
    assert "sign_unseen" not in codes(calibrate_force(table(), Load()))


# Lever and pulley


def codes(found):
    """Return the codes of the remarks of a result."""
    return {remark.code for remark in found.remarks}


def table(per_g=1070.0):
    """Return two rounds without scatter."""
    masses = [0.0, *MASSES, *MASSES[-2::-1], 0.0]
    ways = ["up"] * 4 + ["down"] * 3
    counts = [50_000 + per_g * mass + 5 * (i % 3) for i, mass in enumerate(masses * 2)]
    return readings_of("force.csv", round=[1] * 7 + [2] * 7, direction=ways * 2, mass_g=masses * 2, count=counts,
                       time_s=[0] * 14)  # fmt: skip


def test_a_levers_ratio_and_its_uncertainty_are_in_the_scale():
    plain = calibrate_force(table(), Load()).section
    found = calibrate_force(table(), Load(loading=Loading(LoadingWay.LEVER, 2.0, 1.4e-3)))
    assert found.section["newton_per_count"] == pytest.approx(2 * plain["newton_per_count"])
    assert found.section["u_scale"] == pytest.approx(math.hypot(plain["u_scale"], 1.4e-3))
    assert found.budget["lever"][0] == 1.4e-3


def test_a_lever_reaches_the_working_load_with_less():
    half = readings_of("force.csv", **{
        name: values.tolist() for name, values in (table().numbers | {"mass_g": table()["mass_g"] / 2}).items()
    }, direction=table().words["direction"])  # fmt: skip
    with pytest.raises(ReadingsError) as caught:
        calibrate_force(half, Load())
    assert caught.value.code == "out_of_reach"
    assert calibrate_force(half, Load(loading=Loading(LoadingWay.LEVER, 2.0, 1e-3))).section["newton_per_count"] > 0


def test_the_friction_of_a_pulley_is_in_the_budget_and_in_a_remark():
    found = calibrate_force(table(), Load(loading=Loading(LoadingWay.PULLEY, 1.0, 5e-4)))
    assert found.budget["pulley"][0] == 5e-4
    assert "pulley_friction" in codes(found)


@pytest.mark.parametrize(
    "given",
    [("turned", 2.0, 0.0), ("turned", 1.0, 1e-3), ("lever", 2.0, 0.0), ("pulley", 1.0, 0.0), ("pulley", 2.0, 1e-3)],
)
def test_ratios_that_do_not_go_with_the_way_are_refused(given):
    way, ratio, u_ratio = given
    with pytest.raises(ConfigurationError):
        Loading(LoadingWay(way), ratio, u_ratio)


def test_a_gauge_is_calibrated_by_a_lever(tmp_path):
    given = ("--way", "lever", "--ratio", 2, "--ratio-u", 0.001, "--mass", 250, "--mass", 375, "--mass", 500)
    done = midspan("calibrate", "force", *given, "--port", "rehearsal", "--yes", "--json", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert Loading(LoadingWay.LEVER, 2.0, 0.001).put_on(500.0) in done.stderr
    outcome = json.loads(done.stdout)
    found = outcome["section"]
    assert found["newton_per_count"] * scenario.GAUGE["count_per_n"] == pytest.approx(1, abs=2 * found["u_scale"])
    record = load_record(tmp_path / outcome["file"])
    assert record.settings["loading"] == {"way": "lever", "ratio": 2.0, "u_ratio": 0.001}


# The notes


def test_the_notes_give_the_uncertainty_of_each_way():
    """The figures of bring_up.md from the geometry: two arms in quadrature, a half width over the root of three."""
    page = (NOTES / "bring_up.md").read_text(encoding="utf-8")
    section = page.partition("### Load the cell as a shaft does")[2].partition("\n## ")[0]
    assert section.count("pictures/cell-loading.svg") == 1
    lever, pulley = math.hypot(0.1 / 100, 0.1 / 100), 1 / 1000 / math.sqrt(3)
    for way, u in (("lever", lever), ("pulley", pulley)):
        (row,) = re.findall(rf"^\| {way}: .*$", section, re.MULTILINE)
        told = shlex.split(re.search(r"`(.*?)`", row)[1])
        assert float(told[told.index("--ratio-u") + 1]) == pytest.approx(u, rel=0.05)
        assert f"{100 * u:.2f} %" in row
        assert f"and {500 * u:.1f} thou" in row  # spine goes as the force
    head = tomllib.loads((NOTES / "frame.toml").read_text(encoding="utf-8"))["head"]
    half, arm_mm = math.radians(0.5), head["stem"] + head["bearing"][1]  # from the cell to the head's tip
    told = re.search(
        r"half a degree takes ([\d.]+) % of the force and shifts it by ([\d.]+) mm", " ".join(section.split())
    )
    assert float(told[1]) == round(100 * (1 - math.cos(half)), 3)
    assert float(told[2]) == round(arm_mm * math.sin(half), 1)
