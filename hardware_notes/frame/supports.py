"""Room round a shaft in the stands, the belt that turns their rollers, and what an error of theirs costs."""

from __future__ import annotations

from math import hypot, pi, sqrt

from frame.belts import T25_BACK_MM, T25_TIP_MM, Wheel, tightener_place
from frame.dimensions import Frame

IDLER_SLEEVE_MM = 6.0  # outer diameter of the sleeves beside the idler
PULLEY_FLANGE_MM = 19.0  # outer diameter of a pulley of 20 teeth with its flanges
THOU_MM = 0.0254


def wheels(frame: Frame, idler_z: float) -> tuple[Wheel, ...]:
    """Return the wheels of a stand's belt, counterclockwise as seen from the right end.

    Parameters
    ----------
    frame : Frame
        The dimensions.
    idler_z : float
        Height of the idler's axis, mm.

    Returns
    -------
    tuple of Wheel
        Layshaft, front roller, idler, rear roller.
    """
    radius = frame.drive.pulley_teeth * frame.drive.belt_pitch / (2 * pi)
    idler = frame.drive.idler_diameter / 2 + T25_BACK_MM
    y, z = frame.half_rollers, frame.support.axle_height
    return (
        Wheel(frame.drive.layshaft_y, frame.drive.layshaft_z, radius),
        Wheel(y, z, radius),
        Wheel(0.0, idler_z, idler, back=True),
        Wheel(-y, z, radius),
    )


def belt_mm(frame: Frame) -> float:
    """Return the pitch length of a stand's belt, mm.

    Parameters
    ----------
    frame : Frame
        The dimensions.

    Returns
    -------
    float
        Teeth times pitch, mm.

    Examples
    --------
    >>> belt_mm(Frame.load())
    230.0
    """
    return float(frame.drive.belt_teeth * frame.drive.belt_pitch)


def idler_z(frame: Frame) -> float:
    """Return the height of the idler's axis at which the belt is tight.

    Parameters
    ----------
    frame : Frame
        The dimensions.

    Returns
    -------
    float
        The height, mm.

    Raises
    ------
    BeltError
        The belt does not fit within the idler's travel.

    Examples
    --------
    >>> frame = Frame.load()
    >>> low, high = frame.drive.idler_travel
    >>> low < idler_z(frame) < high
    True
    """
    low, high = frame.drive.idler_travel
    return tightener_place(lambda z: wheels(frame, z), belt_mm(frame), slack=high, tight=low)


def notch_room_mm(frame: Frame, diameter: float) -> float:
    """Return the room between a shaft at rest and the notch of the cheeks, on the closer of sides and bottom.

    Parameters
    ----------
    frame : Frame
        The dimensions.
    diameter : float
        Of the shaft, mm.

    Returns
    -------
    float
        The room, mm; negative where the shaft would touch.

    Examples
    --------
    >>> frame = Frame.load()
    >>> [round(notch_room_mm(frame, d), 2) for d in (4.0, 6.0, 10.0)]
    [4.0, 3.0, 1.0]
    """
    below = frame.shaft_z(diameter) - diameter / 2 - frame.support.notch_bottom
    return float(min(below, frame.support.notch_half_width - diameter / 2))


def wheel_room_mm(frame: Frame, diameter: float) -> float:
    """Return the room between a shaft at rest and what turns under it: pulleys with belt, idler with belt.

    Parameters
    ----------
    frame : Frame
        The dimensions.
    diameter : float
        Of the shaft, mm.

    Returns
    -------
    float
        The room, mm, with the idler at the top of its travel.

    Examples
    --------
    >>> wheel_room_mm(Frame.load(), 10.0) > 5
    True
    """
    top = frame.drive.idler_travel[1]
    _, front, idler, _ = wheels(frame, top)
    z = frame.shaft_z(diameter)
    pulley = hypot(front.y, z - front.z) - max(PULLEY_FLANGE_MM / 2, front.pitch_radius + T25_BACK_MM)
    back = z - idler.z - (idler.pitch_radius + T25_TIP_MM)
    return min(pulley, back) - diameter / 2


def sleeve_room_mm(frame: Frame) -> float:
    """Return the room between the rollers and the sleeves beside the idler at the top of its travel.

    Parameters
    ----------
    frame : Frame
        The dimensions.

    Returns
    -------
    float
        The room, mm.

    Examples
    --------
    >>> sleeve_room_mm(Frame.load()) > 0.3
    True
    """
    height = frame.support.axle_height - frame.drive.idler_travel[1]
    return hypot(frame.half_rollers, height) - (frame.support.roller_diameter + IDLER_SLEEVE_MM) / 2


def end_past_rim_mm(frame: Frame, length: float, span: float) -> float:
    """Return how far each end of a centred shaft reaches past the rim that carries it.

    Parameters
    ----------
    frame : Frame
        The dimensions.
    length, span : float
        Of the shaft and between the rims, mm.

    Returns
    -------
    float
        The reach past half the width of the roller, mm; negative where the shaft would fall in.

    Examples
    --------
    >>> frame = Frame.load()
    >>> round(end_past_rim_mm(frame, frame.shaft.shortest, frame.support.span), 1)
    10.4
    """
    return float((length - span - frame.support.roller_width) / 2)


def walk_mm_a_turn(diameter: float, skew_mrad: float) -> float:
    """Return how far a shaft walks along itself in each turn on rollers that are not parallel to it.

    Parameters
    ----------
    diameter : float
        Of the shaft, mm.
    skew_mrad : float
        Angle between the rollers' axles and the shaft in the plane of both, mrad.

    Returns
    -------
    float
        The walk, mm.

    Examples
    --------
    >>> round(walk_mm_a_turn(6.0, 0.5), 4)
    0.0094
    """
    return pi * diameter * skew_mrad / 1000


def runout_thou(frame: Frame, diameter: float) -> float:
    """Return how far the middle of a shaft rises and falls at most while one rim runs out of true.

    The rim lifts its end of the shaft, and the middle by half of that. Only what differs between the two depths
    counts: the same rim stands elsewhere at the second depth unless the cycle brings it back.

    Parameters
    ----------
    frame : Frame
        The dimensions.
    diameter : float
        Of the shaft, mm.

    Returns
    -------
    float
        Peak to peak, thou.

    Examples
    --------
    >>> round(runout_thou(Frame.load(), 6.0), 3)
    0.097
    """
    lift_mm = frame.support.roller_runout * frame.nip_share(diameter)
    return float(lift_mm / 2 / THOU_MM)


def diameter_difference_mm(frame: Frame, diameter: float, difference: float) -> float:
    """Return how far a shaft at rest is raised at one end by rollers that are larger there.

    Parameters
    ----------
    frame : Frame
        The dimensions.
    diameter : float
        Of the shaft, mm.
    difference : float
        Of the rollers of one stand against the other, in diameter, mm.

    Returns
    -------
    float
        The height, mm.

    Examples
    --------
    >>> round(diameter_difference_mm(Frame.load(), 6.0, 0.01), 4)
    0.0098
    """
    reach = (frame.support.roller_diameter + diameter) / 2
    return sqrt((reach + difference / 2) ** 2 - frame.half_rollers**2) - sqrt(reach**2 - frame.half_rollers**2)
