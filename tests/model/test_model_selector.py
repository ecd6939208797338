"""The selector and its trays as solids, for as many places as a plan asks for."""

import tomllib

import pytest
from build123d import Location, Pos
from frame import flap_loads
from frame.dimensions import PARAMETERS, Frame
from frame.rolling import turned
from frame.selector import axle, flaps, pulses_us, surface, swing_deg
from model import selector, selector_parts, trays
from model.checks.held import loose_findings, number_findings
from model.checks.overlap import overlaps
from model.checks.screws import screw_findings
from model.piece import Part, Piece, Way
from model.standard.shapes import ALONG_X, box, cylinder


def with_places(count: int) -> Frame:
    content = tomllib.loads(PARAMETERS.read_text(encoding="utf-8"))
    content["feeder"]["places"] = count
    return Frame(content)


def side_plates(frame: Frame) -> list[Piece]:
    """Return plain side plates with the holes and windows that selector and trays ask for."""
    side, sheet = float(frame.feeder.side_x), float(frame.feeder.side_sheet)
    pieces = []
    for name, x in (("left", -side - sheet), ("right", side)):
        shape = box((0, sheet), (40, 800), (-139, 120))
        for unit in (selector, trays):
            for y, z, diameter in unit.bores(frame)[name]:
                shape -= Location((0, y, z)) * (ALONG_X * cylinder(diameter, -1, sheet + 1))
            for low, high, bottom, top in unit.windows(frame)[name]:
                shape -= box((-1, sheet + 1), (low, high), (bottom, top))
        part = Part(f"plate {name}", name, Way.CUT, shape.solid(), "plywood", "", 0.0)
        pieces.append(Piece(part, Pos(x, 0, 0)))
    return pieces


@pytest.fixture(scope="module", params=[1, 5, 9])
def built(request):
    frame = with_places(request.param)
    return frame, (*selector.selector(frame), *trays.trays(frame))


def test_nothing_overlaps_while_places_are_chosen(built):
    frame, pieces = built
    assert overlaps([*pieces, *side_plates(frame)], selector.motions(frame)[:4]) == []


def test_all_of_it_is_held_and_screwed(built):
    frame, pieces = built
    whole = [*pieces, *side_plates(frame)]
    assert screw_findings(whole) == []
    assert loose_findings(whole) == []
    assert number_findings(whole) == []


def test_each_place_has_its_module(built):
    frame, pieces = built
    places = int(frame.feeder.places)
    counts = {}
    for piece in pieces:
        counts[piece.part.number] = counts.get(piece.part.number, 0) + 1
    assert counts["F33"] == counts["F34" if places > 1 else "F35"] + (places > 1) == places
    assert counts["F50"] == 2 * places
    assert len(pulses_us(frame)) == places + 1


def test_flaps_are_where_the_numbers_have_them(built):
    frame, pieces = built
    for flap in flaps(frame):
        swing = swing_deg(frame, flap)
        solids = [
            selector.flap_at(frame, flap, swing) * piece.where * piece.part.shape
            for piece in pieces
            if piece.moves == selector.group(flap) and piece.part.number in ("F31", "F32")
        ]
        free = surface(frame, flap, swing)[0 if flap == 0 else 1]
        for solid in solids:
            lowest = solid.bounding_box().min
            assert pytest.approx(free[1], abs=2.5) == lowest.Z


def test_the_loads_are_reckoned_with_the_models_masses():
    frame = Frame.load()
    for first, number in ((True, 0), (False, 1)):
        part = selector_parts.flap(frame, first)
        assert part.grams == pytest.approx(flap_loads.FLAP_G[number], rel=0.05)
        assert abs(part.shape.center().X) == pytest.approx(flap_loads.FLAP_ARM[number], rel=0.05)
    low, high = selector_parts.axle_x(frame)
    assert high - low == pytest.approx(flap_loads.TUBE_LENGTH)


def test_a_tray_comes_out_to_the_right_with_any_flap_open():
    frame = with_places(5)
    pieces = [*selector.selector(frame), *trays.trays(frame), *side_plates(frame)]
    out = [motion for motion in trays.motions(frame) if motion.name == "tray 3"]
    opened = [motion for motion in selector.motions(frame) if motion.name == "flap 3"]
    assert overlaps(pieces, [*out, *opened]) == []


def test_turning_is_counterclockwise_from_the_end_that_x_runs_to():
    frame = Frame.load()
    at = axle(frame, 1)
    gone = selector.flap_at(frame, 1, 90.0) * Pos(0, at[0] + 10, at[1])
    assert pytest.approx(turned([(at[0] + 10, at[1])], at, 90.0)[0]) == (gone.position.Y, gone.position.Z)
