"""Belts round wheels: length, wrap, teeth in mesh, and where a tightener must stand.

A belt is described by its pitch line, the layer that neither stretches nor shortens when it bends. Wheels are listed
counterclockwise along the loop. Those inside it touch the belt's teeth, those outside it press on its back.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import atan2, cos, hypot, sin, sqrt, tau

T25_LENGTHS_MM = (120.0, 145.0, 160.0, 177.5, 200.0, 230.0, 245.0, 265.0, 285.0, 305.0, 330.0, 380.0, 420.0, 480.0,
                  500.0, 600.0)  # of closed T2.5 belts that are sold, from memory  # fmt: skip
T25_TIP_MM, T25_BACK_MM = 0.26, 0.34  # from the pitch line to the pulley's tips and to the belt's back, from memory


class BeltError(ValueError):
    """A belt that does not go round its wheels."""


@dataclass(frozen=True)
class Wheel:
    """A pulley or idler by its axis and the radius of the belt's pitch line on it, mm.

    `back` is true for a wheel outside the loop, on the belt's back.
    """

    y: float
    z: float
    pitch_radius: float
    back: bool = False

    @property
    def signed_radius(self) -> float:
        """Pitch radius, negative on the belt's back: there the belt bends the other way."""
        return -self.pitch_radius if self.back else self.pitch_radius


@dataclass(frozen=True)
class Contact:
    """The stretch of a belt on a wheel, and the straight run that follows.

    `arrives` and `leaves` are the belt's directions before and after the wheel, radians from +y towards +z. `wrap_rad`
    is the angle in contact, `run_mm` the length of the straight run to the next wheel.
    """

    wheel: Wheel
    arrives: float
    leaves: float
    wrap_rad: float
    run_mm: float

    def point(self, direction: float, outward_mm: float = 0.0) -> tuple[float, float]:
        """Return the point on the wheel where the belt has a direction.

        Parameters
        ----------
        direction : float
            The belt's direction there, radians from +y towards +z.
        outward_mm : float
            Distance of the point from the pitch line, mm, positive out of the loop.

        Returns
        -------
        tuple of float
            y and z, mm.
        """
        reach = self.wheel.signed_radius + outward_mm
        return self.wheel.y + reach * sin(direction), self.wheel.z - reach * cos(direction)


def _run(first: Wheel, second: Wheel) -> tuple[float, float]:
    """Return direction (radians) and length (mm) of the straight run between two wheels."""
    dy, dz = second.y - first.y, second.z - first.z
    across = second.signed_radius - first.signed_radius
    distance = hypot(dy, dz)
    if distance <= abs(across):
        places = f"({first.y:g}, {first.z:g}) and ({second.y:g}, {second.z:g})"
        raise BeltError(f"The wheels at {places} leave no straight run between them. Move them apart.")
    length = sqrt(distance**2 - across**2)
    return atan2(dz, dy) - atan2(across, length), length


def contacts(wheels: Sequence[Wheel]) -> tuple[Contact, ...]:
    """Return how a belt lies on each of its wheels.

    Parameters
    ----------
    wheels : sequence of Wheel
        Counterclockwise along the belt, at least two.

    Returns
    -------
    tuple of Contact
        In the same order.

    Raises
    ------
    BeltError
        Two neighbours are too close for a straight run between them.
    """
    runs = [_run(wheel, wheels[(i + 1) % len(wheels)]) for i, wheel in enumerate(wheels)]
    found = []
    for i, wheel in enumerate(wheels):
        arrives, (leaves, length) = runs[i - 1][0], runs[i]
        turn = arrives - leaves if wheel.back else leaves - arrives
        found.append(Contact(wheel, arrives, leaves, turn % tau, length))
    return tuple(found)


def belt_length_mm(wheels: Sequence[Wheel]) -> float:
    """Return the length of the pitch line of a belt round its wheels.

    Parameters
    ----------
    wheels : sequence of Wheel
        Counterclockwise along the belt, at least two.

    Returns
    -------
    float
        The length, mm.

    Raises
    ------
    BeltError
        Two neighbours are too close for a straight run between them.

    References
    ----------
    R. G. Budynas, J. K. Nisbett, Shigley's Mechanical Engineering Design, equations 17-1 and 17-2 (two pulleys).

    Examples
    --------
    >>> round(belt_length_mm([Wheel(0, 0, 10), Wheel(50, 0, 10)]), 3)
    162.832
    """
    return sum(contact.run_mm + contact.wrap_rad * contact.wheel.pitch_radius for contact in contacts(wheels))


def teeth_in_mesh(contact: Contact, pitch_mm: float) -> int:
    """Return the whole teeth of a belt that a pulley holds.

    Parameters
    ----------
    contact : Contact
        The belt on that pulley.
    pitch_mm : float
        Distance between two teeth, mm.

    Returns
    -------
    int
        Teeth in contact, rounded down.

    Examples
    --------
    >>> teeth_in_mesh(contacts([Wheel(0, 0, 8), Wheel(50, 0, 8)])[0], 2.5)
    10
    """
    return int(contact.wrap_rad * contact.wheel.pitch_radius / pitch_mm + 1e-9)


def tightener_place(
    wheels_at: Callable[[float], Sequence[Wheel]], length_mm: float, slack: float, tight: float
) -> float:
    """Return where a tightener stands when a belt of a given length lies round all wheels without slack.

    Parameters
    ----------
    wheels_at : callable
        Wheels for a place of the tightener, counterclockwise.
    length_mm : float
        Pitch length of the belt, mm.
    slack, tight : float
        Ends of the tightener's travel: where the belt is loose and where it is tight, mm.

    Returns
    -------
    float
        Its place, mm.

    Raises
    ------
    BeltError
        No place within the travel does it: the belt is too long or too short.

    Examples
    --------
    >>> round(tightener_place(lambda y: [Wheel(0, 0, 10), Wheel(y, 0, 10)], 162.832, 40, 60), 3)
    50.0
    """
    loose_mm, tight_mm = belt_length_mm(wheels_at(slack)), belt_length_mm(wheels_at(tight))
    if not loose_mm <= length_mm <= tight_mm:
        raise BeltError(f"The tightener suits belts of {loose_mm:.2f} to {tight_mm:.2f} mm, not of {length_mm:g} mm.")
    for _ in range(60):
        middle = (slack + tight) / 2
        if belt_length_mm(wheels_at(middle)) < length_mm:
            slack = middle
        else:
            tight = middle
    return (slack + tight) / 2


def run_tension_n(force_n: float, deflection_mm: float, run_mm: float) -> float:
    """Return the tension of a straight run that yields to a finger's push across its middle.

    Parameters
    ----------
    force_n : float
        Push across the middle, N.
    deflection_mm : float
        How far the run yields there, mm; small against the run.
    run_mm : float
        Length of the straight run, mm.

    Returns
    -------
    float
        Tension, N: the two halves of the run balance the push.

    Examples
    --------
    >>> round(run_tension_n(1.0, 1.0, 55.0), 1)
    13.8
    """
    return force_n * run_mm / (4 * deflection_mm)
