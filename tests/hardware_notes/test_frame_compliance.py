"""The frame's give by beam theory and by a three-dimensional frame agree; the pieces are those of handbooks."""

import json

import pytest
from frame import compliance, contact
from frame.dimensions import Frame
from frame_model import FrameModel
from places import DATA

FRAME = Frame.load()
WITHOUT = ("cell", "rotor's lag at its current")


def given(*parts):
    return sum(give.mm_per_n for give in compliance.gives(FRAME) if not parts or give.part in parts)


def test_both_calculations_agree():
    """All of it, and what is left without cell and motor, which both calculations take as they are."""
    solved = FrameModel(FRAME).give()
    assert solved == pytest.approx(given(), rel=0.02)
    assert solved - given(*WITHOUT) == pytest.approx(given() - given(*WITHOUT), rel=0.10)


def test_neither_feet_nor_cross_beams_carry_the_force():
    model = FrameModel(FRAME)
    model.give()
    for side in (-1, 1):
        for way in (-1, 1):
            assert abs(model.model.nodes[f"foot {side} {way}"].RxnFZ["Combo 1"]) < 1e-3


def test_the_beam_is_the_handbooks():
    """P L^3 / 48 EI (Roark, Formulas for Stress and Strain, 7th ed., table 8.1; AISC Manual, table 3-23, case 7)."""
    published = json.loads((DATA / "beams.json").read_text(encoding="utf-8"))["tubes"]
    bent = {}
    for case in published["cases"]:
        second = 3.14159265359 / 64 * 25.4**4 * (case["outer_in"] ** 4 - case["inner_in"] ** 4)
        content = FRAME.content | {"beam": FRAME.content["beam"] | {"second_moment_mm4": second}}
        content["beam"]["modulus_n_mm2"] = case["young_mpa"]
        content["support"] = FRAME.content["support"] | {"span": published["span_mm"]}
        bent[case["name"]] = compliance.beam(Frame(content)) * published["load_n"]
    for case in published["cases"]:
        assert bent[case["name"]] == pytest.approx(case["deflection_mm"], rel=1e-4)


def test_axle_and_arm_are_the_handbooks():
    """AISC Manual, table 3-23: F a^2 b^2 / 3 E I L under a load (case 8); cantilever F L^3 / 3 E I (case 22)."""
    axle = 9.0**2 * 20.0**2 / (3 * 207_000 * 63.617 * 29.0)
    assert compliance.axles(FRAME) / compliance.in_the_nip(FRAME) == pytest.approx(axle, rel=1e-3)
    whole = Frame(FRAME.content | {"press": FRAME.content["press"] | {"carriage": [0.0, 8.0, 108.0]}})
    assert compliance.arm(whole) == pytest.approx(99.0**3 / (3 * 70_000 * 30 * 20**3 / 12), rel=1e-9)


def test_balls_give_as_hertz_says_of_them():
    """Palmgren's formula stands for balls in grooves of 0.52 of their diameter: Hertz's contacts of a 608 with both."""
    ball, force = 3.969, 19.0
    grooves = 2 / ball - 1 / (0.52 * ball)
    ways = [contact.point_contact(force, (grooves, 2 / ball + ring), 113_700).approach for ring in (1 / 5.5, -1 / 9.5)]
    palmgren = 4.36e-4 * (force**2 / ball) ** (1 / 3)
    assert sum(ways) == pytest.approx(palmgren, rel=0.2)
    assert compliance.BALLS[22.0][0] == ball


def test_the_rotor_lags_as_the_notes_of_its_current_say():
    """11 um at 8.6 N with a current that stalls at 20 N (worked out by hand: asin(0.43) / 50 * 8 / 2 pi)."""
    weak = Frame(FRAME.content | {"press": FRAME.content["press"] | {"stall_n": 20.0}})
    lag = compliance.rotor_lag(weak) * 0.9 * 8.63
    assert lag == pytest.approx(0.0113 - 0.0011, rel=0.02)
    assert compliance.rotor_lag(FRAME) < compliance.rotor_lag(weak) / 3


def test_the_cell_gives_most_and_the_rest_is_a_seventh_of_it():
    rest = given() - FRAME.cell.give_mm_per_n
    assert rest < 0.2 * FRAME.cell.give_mm_per_n
