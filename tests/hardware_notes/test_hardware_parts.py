"""The tables of parts.md are those of the parts list, and what the stop bears gives the speed that is said.

Run as a script, it draws the tables anew.
"""

import json
import re

import draw_parts
import pytest
from midspan.board.board_file import BoardFile, down_mm_s
from places import ROOT

NOTES = ROOT / "hardware_notes"
PAGE = NOTES / "parts.md"
DRAWN = re.compile(r"(<!-- drawn: (\w+) -->\n).*?(<!-- end -->)", re.DOTALL)


def with_tables(text):
    tables = draw_parts.tables()
    return DRAWN.sub(lambda found: found[1] + tables[found[2]] + found[3], text)


def test_the_tables_are_those_of_the_parts_list():
    text = PAGE.read_text(encoding="utf-8")
    assert {found[2] for found in DRAWN.finditer(text)} == set(draw_parts.tables())
    assert text == with_tables(text), "draw them anew: make redraw"


def test_every_part_is_in_one_table():
    tables = draw_parts.tables()
    listed = [
        line.split("|")[1].strip() for name in ("made", "bought", "standard") for line in tables[name].splitlines()[2:]
    ]
    assert sorted(listed) == sorted(row["number"] for row in draw_parts.rows())


def test_no_number_stands_for_two_parts_and_none_is_left_without_a_step():
    rows = draw_parts.rows()
    assert len({row["number"] for row in rows}) == len(rows)
    assert [row["number"] for row in rows if not row["steps"]] == []


@pytest.mark.parametrize(("way", "folder"), [("printed", "printed"), ("cut from sheet", "cut")])
def test_each_printed_or_cut_part_has_its_file_and_no_file_is_left_over(way, folder):
    numbers = {row["number"] for row in draw_parts.rows() if row["way"] == way}
    assert {path.stem.split("-")[0] for path in (draw_parts.FILES / folder).iterdir()} == numbers


def test_costs_are_the_sums_of_the_lists():
    figures = json.loads((draw_parts.FILES / "figures.json").read_text(encoding="utf-8"))
    for build in draw_parts.builds():
        total = sum(float(row["price_eur"]) * draw_parts.pieces(row, build) for row in draw_parts.rows())
        assert figures[build]["cost_of_pieces_eur"] == pytest.approx(total, abs=0.51 + 0.005 * len(draw_parts.rows()))
        beside = figures[build]["cost_eur"] - figures[build]["cost_of_pieces_eur"]
        assert beside == pytest.approx(draw_parts.cost_beside(build), abs=1)
        counted = sum(draw_parts.pieces(row, build) for row in draw_parts.rows())
        assert figures[build]["pieces_made"] + figures[build]["pieces_bought"] == counted


def test_what_is_checked_in_of_the_model_stays_small():
    made = [path for path in draw_parts.FILES.rglob("*") if path.is_file()]
    made += [
        path for name in ("build", "step", "apart", "close") for path in (NOTES / "pictures").glob(f"{name}-*.png")
    ]
    assert sum(path.stat().st_size for path in made) < 5_000_000


def test_what_the_stop_bears_gives_the_speed_that_is_said():
    """1070 counts a gram; half as much again as its rated load is what a cell bears (common practice, no source)."""
    given = json.loads((ROOT / "device" / "board.json").read_text(encoding="utf-8"))
    words = " ".join(PAGE.read_text(encoding="utf-8").split())
    counts, force_n, per_gram = re.search(r"(\d+) counts, (\d+) N at (\d+) counts a gram", words).groups()
    assert int(counts) == given["limits"]["bears_count"]
    assert int(counts) / int(per_gram) * 9.80665e-3 == pytest.approx(float(force_n), abs=0.5)
    kg, rated_kg, alone, mm_s = map(
        int, re.search(r"(\d) kg of a (\d) kg cell are (\d+) .*? at (\d+) mm/s", words).groups()
    )
    assert (kg, alone) == (1.5 * rated_kg, 1000 * kg * int(per_gram))
    given["limits"]["bears_count"] = alone
    assert down_mm_s(BoardFile.model_validate(given)) == mm_s
    stalls_n = float(
        re.search(r"rolled, lead 8 mm .* (\d+) N \|", (NOTES / "choices.md").read_text(encoding="utf-8"))[1]
    )
    assert {int(bears) for bears in re.findall(r"bears (\d+) N", words)} == {160}
    assert stalls_n < 160


if __name__ == "__main__":
    PAGE.write_text(with_tables(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
