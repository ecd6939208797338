"""Parts are counted as they stand in the builds, and sums are those of the pieces."""

import csv

import pytest
import toy
from build123d import Location, Solid
from model.output.parts_list import figures, pieces_in_steps, write_parts
from model.piece import Part, Piece, Way


def rows(tmp_path):
    with write_parts(toy.builds(), tmp_path / "parts.csv").open(encoding="utf-8") as file:
        return {row["number"]: row for row in csv.DictReader(file)}


def test_pieces_are_counted_in_each_build(tmp_path):
    counts = {number: (int(row["bare"]), int(row["whole"])) for number, row in rows(tmp_path).items()}
    assert counts == {"B01": (1, 1), "S01": (2, 2), "S02": (0, 2), "S03": (0, 2), "N18": (0, 2), "N39": (8, 8)}


def test_a_part_is_told_with_its_stock_mass_and_steps(tmp_path):
    row = rows(tmp_path)["S01"]
    assert (row["name"], row["way"], row["designation"], row["steps"]) == (
        "plate", "cut from sheet", "sheet 10", "2 stands: 2",
    )  # fmt: skip
    assert float(row["mass_g"]) == pytest.approx(toy.plate().shape.volume * 2.7e-3, abs=0.05)


def test_builds_that_differ_in_a_step_have_a_number_each():
    plate = Piece(toy.plate(), Location(), step="2 stands")
    builds = {"bench": [Piece(toy.plate(), Location(), step="H1")], "one": [plate], "two": [plate, plate]}
    assert pieces_in_steps(builds) == {toy.plate().number: {"H1": "1", "2 stands": "1/2"}}


def block(x, grams, kind="aluminium"):
    part = Part(f"B{grams:02}", "block", Way.CUT, Solid.make_box(10, 10, 10), kind, "bar", 2.0, float(grams))
    return Piece(part, Location((x, 0, 0)))


def test_figures_of_two_blocks_by_hand():
    """10 g at 5 mm and 30 g at 105 mm balance at 80 mm."""
    found = figures([block(0, 10), block(100, 30)])
    assert found["centre_of_mass_mm"] == pytest.approx([80.0, 5.0, 5.0])
    assert found["footing_mm"] == {"x": [0.0, 110.0], "y": [0.0, 10.0]}
    assert (found["mass_kg"], found["cost_of_pieces_eur"]) == (0.04, 4)
    assert (found["pieces_made"], found["pieces_bought"]) == (2, 0)


def test_a_shaft_is_no_part_of_the_gauge():
    assert figures([block(0, 10), block(100, 30, "shaft")])["pieces_made"] == 1
