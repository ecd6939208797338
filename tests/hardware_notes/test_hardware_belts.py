"""Belts round wheels against a handbook's worked example, and against a drawn polygon."""

from math import cos, hypot, pi, sin

import pytest
from frame.belts import (
    T25_LENGTHS_MM,
    BeltError,
    Wheel,
    belt_length_mm,
    contacts,
    run_tension_n,
    teeth_in_mesh,
    tightener_place,
)

# R. G. Budynas, J. K. Nisbett, Shigley's Mechanical Engineering Design, 9th edition, solutions to chapter 17: an open
# flat belt on pulleys of 6 and 18 in, 96 in apart, by the book's equations 17-1 and 17-2. Inches.
SMALL, LARGE, APART = 6.0, 18.0, 96.0
WRAP_SMALL, WRAP_LARGE, LENGTH = 3.016511, 3.266674, 230.074


def open_belt():
    return [Wheel(0, 0, SMALL / 2), Wheel(APART, 0, LARGE / 2)]


def test_length_and_wrap_of_two_pulleys_are_the_handbooks():
    small, large = contacts(open_belt())
    assert small.wrap_rad == pytest.approx(WRAP_SMALL, abs=1e-6)
    assert large.wrap_rad == pytest.approx(WRAP_LARGE, abs=1e-6)
    assert belt_length_mm(open_belt()) == pytest.approx(LENGTH, abs=1e-3)


def polygon_mm(wheels):
    """Return the length of a polygon through many points of the belt's line, wheel by wheel."""
    points = []
    for contact in contacts(wheels):
        turn = -contact.wrap_rad if contact.wheel.back else contact.wrap_rad
        points += [contact.point(contact.arrives + turn * i / 500) for i in range(501)]
    return sum(hypot(b[0] - a[0], b[1] - a[1]) for a, b in zip(points, [*points[1:], points[0]], strict=True))


def with_idler(z):
    return [Wheel(0, 0, 8), Wheel(15, 50, 8), Wheel(0, z, 6, back=True), Wheel(-15, 50, 8)]


@pytest.mark.parametrize("z", [30.0, 36.0, 40.0])
def test_a_belt_over_an_idler_is_as_long_as_the_line_drawn_round_its_wheels(z):
    assert belt_length_mm(with_idler(z)) == pytest.approx(polygon_mm(with_idler(z)), rel=1e-5)


@pytest.mark.parametrize("z", [30.0, 36.0, 40.0])
def test_runs_are_tangents(z):
    path = contacts(with_idler(z))
    for contact, following in zip(path, [*path[1:], path[0]], strict=True):
        start, end = contact.point(contact.leaves), following.point(following.arrives)
        along = (cos(contact.leaves), sin(contact.leaves))
        assert end[0] - start[0] == pytest.approx(along[0] * contact.run_mm)
        assert end[1] - start[1] == pytest.approx(along[1] * contact.run_mm)


def test_a_belt_turns_once_in_all():
    turns = [-contact.wrap_rad if contact.wheel.back else contact.wrap_rad for contact in contacts(with_idler(36))]
    assert sum(turns) == pytest.approx(2 * pi)


def test_wheels_that_meet_leave_no_run():
    with pytest.raises(BeltError):
        contacts([Wheel(0, 0, 10), Wheel(15, 0, 6, back=True)])


def test_an_idler_tightens_a_belt_of_its_length_and_no_other():
    length = belt_length_mm(with_idler(36))
    assert tightener_place(with_idler, length, slack=40, tight=30) == pytest.approx(36)
    for wrong in (length - 10, length + 20):
        with pytest.raises(BeltError):
            tightener_place(with_idler, wrong, slack=40, tight=30)


def test_half_a_pulley_holds_half_its_teeth():
    pulley = Wheel(0, 0, 20 * 2.5 / (2 * pi))
    (contact, _) = contacts([pulley, Wheel(80, 0, pulley.pitch_radius)])
    assert teeth_in_mesh(contact, 2.5) == 10


def test_lengths_are_whole_teeth():
    assert all((length / 2.5).is_integer() for length in T25_LENGTHS_MM)


def test_a_runs_tension_balances_the_push_across_it():
    """Two halves at an angle: force = 2 tension sin(angle), exact where the push barely bends the run."""
    angle = 0.01
    assert run_tension_n(2 * 15 * sin(angle), 25 * sin(angle) / cos(angle), 50) == pytest.approx(15, rel=1e-3)
