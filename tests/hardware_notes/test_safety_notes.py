"""The cautions stand where people look, and what they say of the machine is so."""

import json
import math
import re
from functools import partial

import pytest
from drawn_tables import drawn_anew, heading, names
from frame.dimensions import Frame
from frame.guards import openings, reach_mm
from places import ROOT

BOARD = json.loads((ROOT / "device" / "board.json").read_text(encoding="utf-8"))
COUNT_PER_N = 109110  # 2 kg, 1 mV/V, gain 128: 1070 counts a gram
LATE_S = 0.0125 * (2 + BOARD["cell"]["filter"] / 2) + 0.010  # SPEC.md, section 9: two intervals, filter, loop
PAGE = ROOT / "hardware_notes" / "safety.md"
NOTES = PAGE.read_text(encoding="utf-8")


def gaps(feeder=False):
    """Yield what stays open in the shut lid: its width, how far what moves is behind it, how far that must be."""
    yield from heading("opening", "width, mm", "what moves is away, mm", "at least, mm")
    for opening in openings(Frame.load(), feeder=feeder):
        needed = reach_mm(opening.width_mm, is_round=opening.is_round)
        yield (
            opening.name,
            f"{math.ceil(10 * opening.width_mm) / 10:g}",
            f"{opening.distance_mm:.0f}",
            f"{needed:.0f}",
        )


TABLES = {"openings": gaps, "openings of the feeder": partial(gaps, feeder=True)}


def test_the_openings_are_those_of_the_lid():
    assert names(NOTES) == list(TABLES)
    assert drawn_anew(NOTES, TABLES) == NOTES, "draw it anew: make redraw"


@pytest.mark.parametrize("place", ["README.md", "hardware_notes/README.md"])
def test_readers_are_led_to_the_cautions(place):
    assert re.search(r"\]\((hardware_notes/)?safety\.md\)", (ROOT / place).read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    "word",
    ["local codes", "makers' instructions", "licensed", "emergency stop", "lid", "eye protection", "splinter", "mains",
     "fire", "must not be shot", "unattended", "child", "smoke alarm", "moves when it starts"],
)  # fmt: skip
def test_each_danger_has_its_caution(word):
    assert word in NOTES


def test_the_force_of_the_press_is_as_said():
    """Force of a screw: 2 pi times torque times efficiency over the lead; a plain screw returns a third."""
    torque_nm, lead_mm = map(float, re.search(r"\((.*?) N m\) on a screw of (\d+) mm", NOTES).groups())
    least = float(re.search(r"stalls only above (\d+) N;", NOTES).group(1))
    assert 0.8 < least / (2 * math.pi * torque_nm * 0.33 / (lead_mm / 1000)) < 1
    assert float(re.search(r"measuring takes (\d+) N", NOTES).group(1)) == pytest.approx(0.88 * 9.80665, rel=0.05)


def test_the_force_on_a_rigid_thing_is_as_said():
    """The bound of SPEC.md, section 9, in newtons: what is on the cell when the head has come to rest."""
    said = re.search(r"at most (\d+) mm/s, which ends at (\d+) N at most where the contact gives (\d+) N/mm", NOTES)
    speed, force, stiffness = map(int, said.groups())
    limits = BOARD["limits"]
    assert stiffness == pytest.approx(limits["count_per_mm"] / COUNT_PER_N, rel=0.02)

    def reached_n(mm_s):
        way_mm = mm_s * LATE_S + mm_s**2 / (2 * limits["press_mm_s2"])
        return (limits["count"] + limits["count_per_mm"] * way_mm) / COUNT_PER_N

    assert force == pytest.approx(reached_n(speed), abs=1)
    assert reached_n(speed) < limits["bears_count"] / COUNT_PER_N < reached_n(speed + 1)


def test_the_way_of_a_head_whose_board_hangs_is_as_said():
    """50 ms of queued motion and the braking ramp, v^2 / 2a."""
    said = re.search(r"(\d+) ms at most, brakes and stands: ([\d.]+) mm at (\d+) mm/s, ([\d.]+) mm at (\d+)", NOTES)
    ms, *ways = map(float, said.groups())
    for way_mm, mm_s in (ways[:2], ways[2:]):
        assert way_mm == pytest.approx(mm_s * ms / 1000 + mm_s**2 / (2 * BOARD["limits"]["press_mm_s2"]), abs=0.005)
    assert float(re.search(r"it anew within (\d+) s", NOTES)[1]) * 1000 == BOARD["watchdog_ms"]


if __name__ == "__main__":
    PAGE.write_text(drawn_anew(NOTES, TABLES), encoding="utf-8")
