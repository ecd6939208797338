"""The press: what pulls on the nut, what meets first at both ends of the travel, what the head leaves clear."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from build123d import Location
from frame.dimensions import STANDARD_GRAVITY, Frame
from model.checks.held import number_findings
from model.checks.overlap import overlaps
from model.checks.screws import screw_findings
from model.motion import Motion
from model.piece import Part, Piece, Way
from model.press import hanging, motions, press
from model.standard.shapes import ALONG_X, box, cylinder

FRAME = Frame.load()
PIECES = press(FRAME)
TRAVEL = motions(FRAME)[0]
LEAST_N = 2.0  # by which the counterweight must pull harder than all that can hold the carriage down
CABLE_N = 0.1  # of the cell's cable, an estimate: 0.3 m of 25 g/m
CORD_LOSS = 0.03  # share of the pull that two ball-bearing pulleys and the bent cord take; an estimate


def weight_n(pieces):
    return sum(piece.part.grams for piece in pieces) / 1000 * STANDARD_GRAVITY


def placed(number, up_mm=0.0):
    """Return the solids of a part with the carriage at a height over home."""
    carry = TRAVEL.carry(up_mm)
    return [
        carry.get(piece.moves, Location()) * piece.where * piece.part.shape
        for piece in PIECES
        if piece.part.number == number
    ]


def limits(solid):
    """Return the lowest and highest corner of a solid."""
    box = solid.bounding_box()
    return tuple(box.min), tuple(box.max)


@pytest.mark.parametrize("up_mm", [TRAVEL.low, 0.0, TRAVEL.high])
def test_the_counterweight_holds_the_nut_on_one_flank(up_mm):
    """Nothing but the cord's own piece changes sides on the way: 0.1 m of 1 g/m."""
    changes = abs(up_mm) / 1000 * 0.001 * STANDARD_GRAVITY * 2
    weight = [piece for piece in PIECES if piece.part.number == "P10"]
    pull = weight_n(weight) * (1 - CORD_LOSS)
    down = weight_n(hanging(PIECES)) + CABLE_N + FRAME.press.drag_n + changes
    assert pull == pytest.approx(FRAME.press.lift_n * (1 - CORD_LOSS), abs=0.05)
    assert pull - down > LEAST_N


def test_the_nut_keeps_its_flank_while_the_carriage_starts_and_brakes():
    """The pull left after weight and drag is more than the acceleration of both masses takes."""
    board_file = Path(__file__).parents[2] / "device" / "board.json"
    press_m_s2 = json.loads(board_file.read_text(encoding="utf-8"))["limits"]["press_mm_s2"] / 1000
    down = weight_n(hanging(PIECES)) + CABLE_N + FRAME.press.drag_n
    mass_kg = (weight_n(hanging(PIECES)) + FRAME.press.lift_n) / STANDARD_GRAVITY
    assert FRAME.press.lift_n * (1 - CORD_LOSS) - down - mass_kg * press_m_s2 > 1.0


def test_the_masses_are_those_of_the_materials():
    """6.5 kg/m for the rail, 1.6 kg/m for the profile are typical; the steel bar by 7.85 g/cm3 and its two holes."""
    grams = {piece.part.number: piece.part.grams for piece in PIECES}
    bar = 3.14159 / 4 * 4.0**2 * 7.85
    assert grams["P10"] == pytest.approx(FRAME.press.lift_n / 9.80665 * 1000, rel=0.002)
    assert limits(placed("P10")[0])[1][2] - limits(placed("P10")[0])[0][2] == pytest.approx(
        grams["P10"] / bar * 10, rel=0.02
    )
    assert grams["P22"] == pytest.approx(3.0 * 2.0 * 13.45 * 2.70, rel=0.08)


def test_the_hard_stops_meet_the_plate_first():
    """Rubber and plate share a face at either end, and nothing else of the carriage has met anything before."""
    upper, lower = sorted(placed("P06"), key=lambda solid: -solid.bounding_box().min.Z)
    top = limits(placed("P20", TRAVEL.high)[0])[1][2]
    bottom = limits(placed("P20", TRAVEL.low)[0])[0][2]
    assert limits(upper)[0][2] == pytest.approx(top, abs=1e-6)
    assert limits(lower)[1][2] == pytest.approx(bottom, abs=1e-6)
    assert TRAVEL.high == FRAME.press.upper_stop_beyond
    assert -TRAVEL.low == FRAME.press.travel + FRAME.press.lower_stop_beyond
    assert overlaps(PIECES, (TRAVEL,)) == []


def test_what_is_screwed_holds_but_for_the_beams_own_slots():
    """The four nuts of the spacer lie in the beam's slots, and the beam is of the base."""
    assert {finding.code for finding in screw_findings(PIECES)} == {"nut"}
    assert len(screw_findings(PIECES)) == 4
    assert number_findings(PIECES) == []


@pytest.mark.parametrize("diameter", [4.0, 6.0, 10.0])
def test_only_the_bearings_touch_the_shaft(diameter):
    axis = FRAME.head_home_z - FRAME.head_above(diameter)
    shaft = Location((0, 0, axis)) * ALONG_X * cylinder(diameter, -100, 100)
    near = [piece for piece in PIECES if piece.step == "7 cell and head"]
    gaps = {piece.part.number: piece.solid.distance_to(shaft) for piece in near}
    bearings = {number for number, gap in gaps.items() if gap < 1e-4}
    assert bearings == {"N191"}
    assert min(gap for number, gap in gaps.items() if number not in bearings) > 0.5


def test_at_the_bottom_the_head_clears_the_layshaft():
    head = placed("P32", TRAVEL.low)[0]
    layshaft = FRAME.drive.layshaft_z + FRAME.drive.layshaft_diameter / 2
    assert limits(head)[0][2] - layshaft > 3
    bearings = [limits(solid)[0][2] for solid in placed("N191", TRAVEL.low)]
    assert min(bearings) - layshaft > 3


def test_the_overload_stop_leaves_its_gap():
    stop, cell = placed("N221")[0], placed("P30")[0]
    assert limits(stop)[0][2] - limits(cell)[1][2] == pytest.approx(FRAME.cell.stop_gap, abs=1e-6)
    assert limits(placed("P22")[0])[0][2] - limits(cell)[1][2] == pytest.approx(FRAME.cell.arm_gap)


def test_the_screw_reaches_through_nut_and_coupling():
    """The nut stays on the thread over the whole travel; the coupling holds 1.2 diameters of screw and motor shaft."""
    screw = limits(placed("P12")[0])
    for up_mm in (TRAVEL.low, TRAVEL.high):
        nut = limits(placed("N205", up_mm)[0])
        assert nut[0][2] > screw[0][2]
    coupling = limits(placed("N208")[0])
    motor = limits(placed("N206")[0])
    assert screw[1][2] - coupling[0][2] > 1.2 * 8
    assert coupling[1][2] - motor[0][2] > 1.2 * 5
    assert motor[0][2] > screw[1][2]


STEPS = ["4 column", "5 carriage and screw", "6 counterweight and stops", "7 cell and head"]


def test_a_long_key_reaches_the_heads_screws_through_its_fork():
    """They come off with all else in its place: 5 mm key, 5.8 across its corners."""
    heads = [piece for piece in PIECES if piece.part.designation == "ISO 4762 M6x16" and piece.step == STEPS[3]]
    assert len(heads) == 2
    for screw in heads:
        rod = cylinder(5.8, 0, 80).solid()
        key = Piece(Part("X01", "key", Way.BOUGHT, rod, "steel", "", 0.0), screw.where * Location((0, 0, 6)))
        assert overlaps([key, *PIECES]) == []


def test_the_arm_comes_off_to_the_front_with_cell_stop_and_head():
    """Two screws go with it, two pins stay: it slides 60 mm along them and is free."""
    pins = {"ISO 8734 5x20"}
    goes = [replace(p, moves="arm") for p in PIECES if p.step == STEPS[3] and p.part.designation not in pins]
    stays = [p for p in PIECES if p.step != STEPS[3] or p.part.designation in pins]
    off = Motion("arm", 0.0, 60.0, 2.0, lambda out_mm: {"arm": Location((0, out_mm, 0))})
    assert len(stays) + len(goes) == len(PIECES)
    assert overlaps([*stays, *goes], (off,)) == []


def test_pieces_know_their_step():
    assert {piece.step for piece in PIECES} == set(STEPS)


def test_key_and_feeler_gauge_reach_the_overload_stop():
    """A 3 mm key from above with the arm in its place, a blade of the gap's thickness and 12.7 mm from the front."""
    stop = next(piece for piece in PIECES if piece.part.number == "N221")
    key = Part("X01", "key", Way.BOUGHT, cylinder(3.4, 0, 70).solid(), "steel", "", 0.0)
    cell_top = FRAME.cell_z + FRAME.cell.height
    leaf = box((-6.35, 6.35), (-5.0, 80.0), (cell_top, cell_top + FRAME.cell.stop_gap)).solid()
    blade = Part("X02", "feeler gauge", Way.BOUGHT, leaf, "steel", "", 0.0)
    assert overlaps([Piece(key, stop.where), Piece(blade, Location()), *PIECES]) == []
