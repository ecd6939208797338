"""The sums of the lists of parts are right, and what the stop bears gives the speed that is said."""

import json
import re

import pytest
from midspan.board.board_file import BoardFile, down_mm_s
from places import ROOT

NOTES = ROOT / "hardware_notes"
PARTS = (NOTES / "parts.md").read_text(encoding="utf-8")
GAUGE, FEEDER = PARTS.split("## The feeder")


def rows(text):
    """Return place, part, rating, pieces and price of each line of the tables."""
    lines = [line.strip("| ").split("|") for line in text.splitlines() if line.startswith("| ") and "---" not in line]
    found = [[cell.strip() for cell in re.split(r"\|", f"|{'|'.join(line)}")[1:]] for line in lines]
    return [row for row in found if row[-1].isdigit()]


def total(text):
    return sum(int(row[-1]) * int(row[-2]) for row in rows(text))


def stated(text):
    return int(re.search(r"about (\d+) euros", text)[1])


def test_the_stated_sums_are_those_of_the_lists():
    assert len(rows(GAUGE)) > 20
    assert len(rows(FEEDER)) > 6
    assert abs(total(GAUGE) - stated(GAUGE)) <= 15
    assert abs(total(FEEDER) - stated(FEEDER)) <= 15


def test_what_the_stop_bears_gives_the_speed_that_is_said():
    """1070 counts a gram; half as much again as its rated load is what a cell bears (common practice, no source)."""
    given = json.loads((ROOT / "device" / "board.json").read_text(encoding="utf-8"))
    words = " ".join(GAUGE.split())
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
