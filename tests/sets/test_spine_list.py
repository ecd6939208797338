"""Old lists of spines: columns as the user maps them, their own uncertainty, and never before a measurement.

Pounds and thou are worked out here by the formula of a simply supported beam (deflection as load and the cube of the
span), which for slender shafts at these deflections is true to 1 % (Gere and Timoshenko, Mechanics of Materials).
"""

import json
import os

import pytest
from commands_rig import answer, complaint, midspan
from midspan.base.errors import ReadingsError, StoreError
from midspan.sets.find_shafts import ShaftQuery, find_shafts
from midspan.sets.spine_list import ListForm, read_list
from midspan.sets.stock import LISTED, read_stock
from midspan.sets.twins import say
from midspan.store.detail_kinds import DetailKind
from midspan.store.details import current, details_of
from midspan.store.evaluation import Evaluation, Origin
from midspan.store.lookup import newest, whole
from results import told
from stores import ACCEPTED, add_result, run_of

BEAM = (28 / 26) ** 3 * 880 / (2 * 453.59237)
THOU = ("--column", "number=No", "--column", "spine=Spine", "--unit", "thou", "--u", "3.92")
MEASURED = told(spine_thou=505.0, u_spine_thou=0.1)


def listed(folder, text):
    """Return the path of a list."""
    path = folder / "old.csv"
    path.write_text(text)
    return path


def test_a_list_is_read_by_the_columns_that_are_named(tmp_path):
    path = listed(tmp_path, "Shaft;Spine lb;+-;Weight;Remark\nold-1;50;1,5;312,4;straight\nold-2;40,5;2;;\n")
    named = ["label=Shaft", "spine=Spine lb", "u=+-", "weight_gr=Weight", "note=Remark"]
    first, second = read_list(path, ListForm.of(named, "pounds", None))
    assert first.spine_thou == pytest.approx(26_000 / 50 * BEAM, rel=0.01)
    assert first.u_spine_thou / first.spine_thou == pytest.approx(1.5 / 50 / 1.96, rel=1e-3)
    assert first.pounds == (pytest.approx(50.0, rel=1e-6), pytest.approx(1.5 / 1.96, rel=1e-3))
    assert first.weight.weight_g == pytest.approx(312.4 * 0.06479891)
    assert (first.label, first.said[DetailKind.NOTE], second.weight) == ("old-1", "straight", None)


@pytest.mark.parametrize(
    ("named", "unit", "expanded", "code"),
    [
        (["spine=Spine"], "thou", 2.0, "column"), (["number=No"], "thou", 2.0, "column"),
        (["number=No", "spine=Spine"], "thou", None, "no_u"),
        (["number=No", "spine=Spine", "u=U"], "thou", 2.0, "no_u"),
        (["number=No", "spine=Spine"], "thou", 0.0, "no_u"), (["number=No", "spine=Spine"], "stone", 2.0, "unit"),
        (["number=No", "spine"], "thou", 2.0, "column"), (["number=No", "bend=B"], "thou", 2.0, "column"),
    ],
)  # fmt: skip
def test_what_is_not_said_of_a_list_is_asked_for(named, unit, expanded, code):
    with pytest.raises(ReadingsError) as caught:
        ListForm.of(named, unit, expanded)
    assert caught.value.code == code


@pytest.mark.parametrize(
    ("unit", "spine", "looks"), [("thou", "55", "pounds"), ("pounds", "500", "thou"), ("mm", "500", "thou")]
)
def test_pounds_where_thou_are_meant_are_refused_and_nothing_is_stored(store_place, tmp_path, unit, spine, looks):
    path = listed(tmp_path, f"No,Spine\n1,{spine}\n")
    with pytest.raises(ReadingsError, match=looks) as caught:
        read_list(path, ListForm.of(["number=No", "spine=Spine"], unit, 2.0))
    assert caught.value.code == "unit"
    words = ("shafts", "import", path, *THOU[:4], "--unit", unit, "--u", "2", "--store", store_place)
    assert "line 2" in complaint(midspan(*words))
    assert not store_place.exists()


def test_a_measurement_counts_before_a_list_whichever_came_first(store, tmp_path):
    add_result(store, run_of(1, "blue-1"), MEASURED)
    add_result(store, run_of(4, "blue-4"), MEASURED)
    say(store, [4, 5], same=True, at_ms=1)
    path = listed(tmp_path, "No,Spine\n1,500\n2,501\n3,502\n5,503\n")
    done = midspan("shafts", "import", path, *THOU, "--store", store.place)
    assert done.returncode == 0, done.stderr
    again = midspan("shafts", "import", path, *THOU, "--store", store.place)
    assert "4 lines" in again.stdout
    add_result(store, run_of(2, at_ms=9), MEASURED)
    imported = run_of(3, archive="other.avro", at_ms=9)
    store.add(store.begin_batch("", 0), imported, Evaluation(MEASURED, ACCEPTED, 9), origin=Origin.IMPORTED)
    assert {number: newest(store, str(number)).result.spine_thou for number in (1, 2, 3, 5)} == dict.fromkeys(
        (1, 2, 3, 5), 505.0
    )
    assert [shaft.shaft for shaft in read_stock(store).shafts] == [1, 2, 3, 4]


def test_a_listed_shaft_is_found_with_its_own_uncertainty_and_goes_into_no_set(store, tmp_path):
    path = listed(tmp_path, "Name,Spine,Size,Length\nold-1,500,500,752\nold-2,510,500,\n")
    words = ("--column", "label=Name", "--column", "spine=Spine", "--column", "size=Size", "--column",
             "length_mm=Length", "--unit", "thou", "--u", "3.92")  # fmt: skip
    assert midspan("shafts", "import", path, *words, "--store", store.place).returncode == 0
    (found,) = find_shafts(store, ShaftQuery(label="old-1"))
    assert found.newest.shaft.u_spine_thou == pytest.approx(2.0, rel=1e-3)
    assert found.newest.against == LISTED
    assert current(details_of(store, found.numbers)) == {DetailKind.SIZE: "500", DetailKind.LENGTH_MM: "752"}
    assert read_stock(store).left_out == {LISTED: (1, 2)}
    assert [each["shaft"] for each in answer(store.place, "find", "--low", "505", group="shafts")] == [2]
    with pytest.raises(StoreError) as caught:
        whole(store.latest("old-1"), store.place)
    assert caught.value.code == "listed"


@pytest.mark.parametrize(
    ("text", "code"),
    [("No,Spine\n1,500\n1,501\n", "twice"), ("No,Spine\nA7,500\n", "number"), ("No,Spine\n1,5OO\n", None)],
)
def test_a_line_that_means_nothing_is_refused(tmp_path, text, code):
    with pytest.raises(ReadingsError) as caught:
        read_list(listed(tmp_path, text), ListForm.of(["number=No", "spine=Spine"], "thou", 2.0))
    assert code in (None, caught.value.code)


def test_a_number_of_another_shaft_is_refused(store, tmp_path):
    add_result(store, run_of(1, "blue-1"), MEASURED)
    path = listed(tmp_path, "No,Name,Spine\n2,old-2,510\n1,old-1,500\n")
    words = ("shafts", "import", path, "--column", "label=Name", *THOU, "--store", store.place)
    assert "blue-1" in complaint(midspan(*words))
    assert store.latest(2) is None


def test_the_same_list_written_otherwise_brings_nothing_twice(store, tmp_path):
    words = ("shafts", "import", "old.csv", "--column", "label=Name", *THOU, "--store", store.place)
    path = listed(tmp_path, "No;Name;Spine\n301;a;511,2\n302;b;500\n")
    first = midspan(*words, folder=tmp_path)
    assert "303" in first.stdout
    listed(tmp_path, "No;Name;Spine\n301;a;511.2\n302;b;501\n303;c;490\n")
    os.utime(path, (1, 1))
    again = midspan(*words, folder=tmp_path)
    assert "2 shafts of the list" in again.stdout
    assert "1 line" in again.stdout
    assert "measured here" not in again.stdout
    assert [len(store.standing(number)) for number in (301, 302, 303)] == [1, 1, 1]
    assert store.latest(302).result.spine_thou == pytest.approx(501.0)  # what was imported last counts


@pytest.mark.parametrize(("named", "meant"), [("weight=Weight", "weight_gr"), ("length=L", "length_mm")])
def test_a_column_that_is_nearly_named_is_suggested(named, meant):
    with pytest.raises(ReadingsError, match=meant) as caught:
        ListForm.of(["number=No", "spine=Spine", named], "thou", 2.0)
    assert caught.value.code == "column"


def test_labels_in_the_column_of_numbers_lead_to_the_option(tmp_path):
    with pytest.raises(ReadingsError, match="--column label=no") as caught:
        read_list(listed(tmp_path, "No,Spine\nA-1,500\n"), ListForm.of(["number=No", "spine=Spine"], "thou", 2.0))
    assert caught.value.code == "number"


def test_shafts_of_a_list_lack_no_readings_in_a_backup(store, tmp_path):
    listed(tmp_path, "No,Spine\n1,500\n2,501\n")
    assert midspan("shafts", "import", "old.csv", *THOU, "--store", store.place, folder=tmp_path).returncode == 0
    done = midspan("backup", tmp_path / "kept", "--store", store.place)
    assert (done.returncode, "old.csv" in done.stdout + done.stderr) == (0, False)
    assert midspan("restore", tmp_path / "kept", "--into", tmp_path / "new").returncode == 0
    manifest = json.loads((tmp_path / "kept" / "manifest.json").read_text())
    assert (manifest["runs"], manifest["lacking"]) == (2, {})
