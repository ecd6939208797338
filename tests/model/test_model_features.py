"""Holes, steps and their uses are found in a solid as they were made."""

import pytest
import toy
from build123d import Axis, Cylinder, GeomType, Location, Pos, Rot, Solid, fillet
from model.holes import countersunk, facing
from model.output.features import cones, crowns, rounds, steps
from model.output.uses import uses


def holes(solid):
    """Return along, diameter, ends and open ends of each hole."""
    return sorted(
        (each.along, 2 * each.radius, each.low, each.high, each.opens)
        for each in rounds(solid)
        if each.hollow and each.whole
    )


def test_holes_are_found_with_diameter_depth_and_open_ends():
    both, top, bottom = (True, True), (False, True), (True, False)
    assert holes(toy.plate().shape) == [
        ("y", 3.0, 0.0, 12.0, bottom),
        ("z", 4.0, 2.0, 10.0, top), ("z", 4.0, 2.0, 10.0, top),
        *[("z", 6.6, 0.0, 10.0, both)] * 4,
        ("z", 8.0, 0.0, 5.0, both),
        ("z", 13.0, 5.0, 10.0, top),
    ]  # fmt: skip


def test_two_holes_in_line_are_two():
    fork = Solid.make_box(30, 10, 20) - Pos(10, 0, 5) * Solid.make_box(10, 10, 15)
    fork = fork - Pos(15, 5, 12) * Rot(0, 90, 0) * Cylinder(2, 40)
    assert holes(fork.solid()) == [("x", 4.0, 0.0, 10.0, (True, True)), ("x", 4.0, 20.0, 30.0, (True, True))]


def test_a_rounded_corner_and_a_pin_are_no_holes():
    block = fillet(Solid.make_box(40, 20, 5).edges().filter_by(Axis.Z), 3)
    found = rounds((block + Pos(20, 10, 7) * Cylinder(4, 4)).solid())
    assert sorted((each.radius, each.hollow, each.whole) for each in found) == [(3.0, False, False)] * 4 + [
        (4.0, False, True)
    ]


def test_a_hole_askew_lies_along_no_axis():
    found = rounds((Solid.make_box(40, 40, 10) - Location((20, 20, 5)) * Rot(20, 0, 0) * Cylinder(2, 60)).solid())
    assert [(each.along, each.radius) for each in found] == [("", 2.0)]


def test_countersinks_and_crowns():
    sunk = countersunk(Solid.make_box(30, 30, 6), facing("+z", (15, 15, 6)), 4, 10)
    assert [(cone.angle, cone.diameter) for cone in cones(sunk)] == [(90.0, pytest.approx(8.96, abs=0.05))]
    wheel = Cylinder(15, 8)
    assert crowns(fillet(wheel.edges().filter_by(GeomType.CIRCLE), 2).solid()) == [2.0]


def test_steps_are_where_faces_lie():
    assert steps(toy.bracket().shape) == {"x": [0.0, 5.0, 40.0], "y": [0.0, 30.0], "z": [0.0, 5.0, 40.0]}


def test_a_holes_use_is_what_lies_in_it():
    found = uses(toy.pieces())
    told = {(2 * hole.radius, hole.foot[0]): words for hole, words in found["S01"].items()}
    assert told == {(6.6, 10.0): "passes M6", (6.6, 70.0): "passes M6", (4.0, 25.0): "M4 thread, drill 3.3"}
    assert set(found) == {"S01"}
