"""The checks of printed and sheet parts: each on a body whose overhang is known by sight."""

import pytest
from build123d import Box, Cone, Cylinder, Location, Pos, Rot, Solid
from model.checks.fits_bed import made_findings, print_findings, sheet_findings
from model.holes import engraved, facing
from model.piece import Part, Way

BED = 220.0


def printed(solid: Solid) -> Part:
    """Return a printed part."""
    return Part("X01", "body", Way.PRINTED, solid, "PETG", "", 0.0)


def box(x: float, y: float, z: float, low: float = 0.0) -> Box:
    """Return a box over the origin from a height up."""
    return Pos(0, 0, low + z / 2) * Box(x, y, z)


def codes(solid: Solid) -> list[str]:
    """Return the codes of what keeps a solid from being printed."""
    return [found.code for found in print_findings(printed(solid), BED)]


@pytest.mark.parametrize(
    ("size", "expected"), [((219, 50, 10), []), ((221, 50, 10), ["bed"]), ((50, 221, 10), ["bed"])]
)
def test_a_part_fits_the_bed_or_not(size, expected):
    assert codes(box(*size).solid()) == expected


def test_a_part_lies_on_the_bed():
    (found,) = print_findings(printed(box(10, 10, 10, low=2).solid()), BED)
    assert (found.code, found.amount) == ("floor", pytest.approx(2))


def test_a_part_on_its_tip_has_no_footprint():
    assert "footprint" in codes((Pos(0, 0, 10) * Cone(1, 21, 20)).solid())


def bridge(width: float) -> Solid:
    """Return two walls and a roof over them, `width` apart."""
    return (box(width + 20, 30, 20) - box(width, 31, 15)).solid()


def test_a_roof_is_bridged_up_to_twelve_millimetres():
    assert codes(bridge(11)) == []
    (found,) = print_findings(printed(bridge(20)), BED)
    assert (found.code, found.amount) == ("overhang", pytest.approx(20 * 30, rel=0.15))


def test_a_ledge_is_no_bridge():
    assert codes((box(20, 20, 20) + Pos(15, 0, 0) * box(10, 20, 5, low=10)).solid()) == ["overhang"]


def test_an_overhang_of_45_degrees_prints_and_one_of_55_does_not():
    for reach, expected in ((10, set()), (14.3, {"overhang"})):
        body = (box(20, 20, 5) + Pos(0, 0, 10) * Cone(8, 8 + reach, 10)).solid()
        assert set(codes(body)) == expected


def test_a_small_hole_across_prints_and_a_large_one_does_not():
    def across(diameter: float) -> Solid:
        return (box(60, 20, 50) - Pos(0, 0, 25) * Rot(90, 0, 0) * Cylinder(diameter / 2, 30)).solid()

    assert codes(across(10)) == []
    assert set(codes(across(36))) == {"overhang"}


def sheet(solid: Solid) -> list[str]:
    """Return the codes of what keeps a solid from being cut from a sheet."""
    return [found.code for found in sheet_findings(Part("X02", "sheet", Way.CUT, solid, "plywood", "", 0.0))]


def test_a_sheet_part_has_the_same_section_all_through():
    plate = (box(60, 40, 9) - Cylinder(5, 30)).solid()
    assert sheet(plate) == []
    assert sheet(engraved(plate, "X02", facing("+z", (15, 10, 9)))) == []
    assert sheet((plate - box(10, 50, 4, low=5)).solid()) == ["sheet"]
    assert sheet(plate.moved(Location((0, 0, 3)))) == ["floor"]


def test_each_part_is_looked_at_by_the_way_it_is_made():
    turned = Part("X03", "rod", Way.TURNED, box(300, 5, 5, low=3).solid(), "steel", "", 0.0)
    assert made_findings([turned, printed(box(300, 5, 5).solid())], BED)[0].pieces == ("X01 body",)
