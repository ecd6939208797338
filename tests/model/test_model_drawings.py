"""A drawing has every hole at its place, says of what and how many, and keeps to its paper."""

from xml.etree import ElementTree

import pytest
import toy
from build123d import Solid
from model.holes import drilled, facing
from model.output.hole_table import table
from model.output.pdf import write_pdf
from model.output.sheet import Facts, sheets
from model.piece import Part, Way

FACTS = Facts({"bare": 2, "whole": 4}, {})
PARTS = {"cut": toy.plate, "turned": toy.roller, "profile": toy.beam}


def words(sheet):
    return [element.text for element in ElementTree.fromstring(sheet.svg).iter() if element.tag.endswith("text")]


def test_every_hole_has_a_label_and_its_place_from_the_corner():
    holes, rows = table(toy.plate().shape, {"x": 0.0, "y": 0.0, "z": 0.0}, {})
    assert {(hole.along, hole.place, hole.diameter) for hole in holes} == {
        ("z", (10.0, 10.0), 6.6), ("z", (70.0, 10.0), 6.6), ("z", (10.0, 38.0), 6.6), ("z", (70.0, 38.0), 6.6),
        ("z", (25.0, 24.0), 4.0), ("z", (55.0, 24.0), 4.0), ("z", (40.0, 24.0), 13.0), ("z", (40.0, 24.0), 8.0),
        ("y", (20.0, 5.0), 3.0),
    }  # fmt: skip
    labels = [hole.label for hole in holes]
    assert len(set(labels)) == len(labels)
    assert [row.cells[0] for row in rows if not row.heading] == labels


@pytest.mark.parametrize("kind", sorted(PARTS))
def test_a_drawing_keeps_to_its_paper_and_says_what_it_shows(kind):
    part = PARTS[kind]()
    (sheet,) = sheets(part, FACTS)
    for element in ElementTree.fromstring(sheet.svg).iter():
        for pair in element.get("points", "").split():
            x, y = map(float, pair.split(","))
            assert 0 <= x <= sheet.width
            assert 0 <= y <= sheet.height
    written = " ".join(words(sheet))
    for told in (part.number, part.name, part.material, part.designation, "bare 2", "whole 4", *part.notes):
        assert told in written


def test_coordinates_of_the_steps_stand_at_the_views():
    (sheet,) = sheets(toy.plate(), FACTS)
    assert {"0", "80", "48", "10"} <= set(words(sheet))


def test_a_long_table_goes_on_on_further_sheets():
    shape = Solid.make_box(200, 60, 4)
    for i in range(120):
        shape = drilled(shape, facing("+z", (10 + 9 * (i // 6), 5 + 10 * (i % 6), 4)), 2, 4)
    made = sheets(Part("B02", "sieve", Way.CUT, shape, "steel", "sheet 4", 1.0), FACTS)
    assert len(made) == 2
    labels = {word for sheet in made for word in words(sheet)}
    assert {"A1", "A120"} <= labels


def test_the_book_has_a_page_for_each_sheet_and_the_same_bytes_each_time(tmp_path):
    drawn = [sheet for part in PARTS.values() for sheet in sheets(part(), FACTS)]
    first, second = (write_pdf(drawn, tmp_path / name, "toy").read_bytes() for name in ("a.pdf", "b.pdf"))
    assert first == second
    assert first.count(b"/Type /Page\n") == len(drawn)
