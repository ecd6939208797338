"""The cautions stand where people look, and what they say of the machine is so."""

import math
import re

import pytest
from places import ROOT

NOTES = (ROOT / "hardware_notes" / "safety.md").read_text(encoding="utf-8")


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
