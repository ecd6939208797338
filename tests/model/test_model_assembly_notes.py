"""What assembly.md says in its sentences and only the model knows."""

import re
from pathlib import Path

from frame.dimensions import Frame
from model import hand_bench_dial, stand_parts
from model.press.counterweight import TUBE_CLEAR, TUBE_FLOOR

PAGE = (Path(__file__).parents[2] / "hardware_notes" / "assembly.md").read_text(encoding="utf-8")
FRAME = Frame.load()


def told(words):
    return [float(number) for number in re.findall(words, PAGE)]


def test_the_cord_is_knotted_by_what_the_model_leaves_under_the_weight():
    assert told(r"meets the weight after ([\d.]+) mm") == [TUBE_CLEAR + TUBE_FLOOR]


def test_the_axle_stands_out_of_the_rollers_hub_as_far_as_in_the_model():
    hub = -FRAME.support.roller_width / 2 - stand_parts.HUB_LENGTH
    assert told(r"([\d.]+) mm of axle out of its inner hub") == [hub - stand_parts.AXLE_ENDS[0]]


def test_the_dial_follows_as_far_as_its_travel_goes():
    assert told(r"nearly all of its ([\d.]+) mm pressed in") == [hand_bench_dial.TRAVEL]
