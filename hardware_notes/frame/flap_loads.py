"""The moments on a flap pair and its lever: a shaft on it, its own weight, friction, and what turns the camshaft.

Moments in N mm about the flap's axle. Coefficients of friction are from memory, for dry surfaces.
"""

from __future__ import annotations

from math import cos, pi, radians, sin, tan

from frame.cams import pressure_angle_deg, rim_radius, rise_mm_per_rad, shut_tilt_deg
from frame.dimensions import Frame
from frame.selector import flap_x, flaps, reach, shut_deg, swing_deg

GRAVITY_N_G = 9.81e-3
TUBE_LENGTH = 972.0  # mm, of each axle
TUBE_MODULUS = (70000.0, 26000.0)  # aluminium, N/mm2: bending and shear
TUBE_DENSITY = 2.70e-3
PRINTED_FILL = 0.85  # a print that is ordered solid is lighter than its outline all the same
FLAP_G, FLAP_ARM = (9.7, 11.0), (20.0, 24.5)  # of a solid flap: the first, the others; and its middle from the axle, mm
LEVER_G = 3.4  # lever, pin and roller
WOOD_FRICTION = 0.3  # waxed plywood on aluminium
CAM_FRICTION = 0.02  # of a ball bearing that rolls on the cam
THRUST_RADIUS = 8.0  # of the collar that takes a sideways push, mm
SHAFT_G = 60.0


def _kind(values: tuple[float, float], flap: int) -> float:
    return values[0] if flap == 0 else values[1]


def opening_nmm(frame: Frame, flap: int, opened_deg: float) -> float:
    """Return the moment with which a flap pair and its lever fall open by their own weight."""
    slope = radians(abs(shut_deg(frame, flap)) + (opened_deg if flap else -opened_deg))
    pair = 2 * PRINTED_FILL * _kind(FLAP_G, flap) * _kind(FLAP_ARM, flap) * cos(slope)
    tilt = radians(frame.feeder.slope + (opened_deg if flap else shut_tilt_deg(frame, flap) - opened_deg))
    return GRAVITY_N_G * (pair + LEVER_G * frame.feeder.lever * cos(tilt))


def friction_nmm(frame: Frame, flap: int, load_n: float = 0.0) -> float:
    """Return the moment of friction in both side plates under the weight of axle and flaps and another load."""
    outer, inner = frame.feeder.axle_tube
    tube = pi / 4 * (outer**2 - inner**2) * TUBE_LENGTH * TUBE_DENSITY
    weight = GRAVITY_N_G * (tube + 2 * _kind(FLAP_G, flap) + LEVER_G) + load_n
    return float(WOOD_FRICTION * weight * outer / 2)


def shaft_nmm(frame: Frame, flap: int) -> float:
    """Return the moment of a heavy shaft at the free end of a shut flap pair."""
    return GRAVITY_N_G * SHAFT_G * max(reach(frame, flap)) * cos(radians(shut_deg(frame, flap)))


def on_cam_n(frame: Frame, flap: int, with_shaft: bool) -> float:
    """Return the force of a shut flap's roller on its cam."""
    moment = opening_nmm(frame, flap, 0.0) + (shaft_nmm(frame, flap) if with_shaft else 0.0)
    return moment / (frame.feeder.lever * cos(radians(shut_tilt_deg(frame, flap))))


def tip_sinks_mm(frame: Frame, flap: int) -> float:
    """Return by how much the free end of the far flap sinks under a heavy shaft as the axle twists."""
    outer, inner = frame.feeder.axle_tube
    polar = pi / 32 * (outer**4 - inner**4)
    x = flap_x(frame, flap)
    to_near, to_far = frame.feeder.lever_x - x, 2 * x
    twist = shaft_nmm(frame, flap) * (to_near + to_far / 2) / (TUBE_MODULUS[1] * polar)
    return twist * max(reach(frame, flap))


def axle_sags_mm(frame: Frame, flap: int) -> float:
    """Return how far the middle of an axle sags under its weight and a heavy shaft on its flaps.

    A uniform load and two single ones on a beam with free ends. The first axle lies in the side plates, the others in
    the bridges near their flaps.
    """
    outer, inner = frame.feeder.axle_tube
    bending = TUBE_MODULUS[0] * pi / 64 * (outer**4 - inner**4)
    span = 2 * float(frame.feeder.bridge_x if flap else frame.feeder.side_x)
    per_mm = GRAVITY_N_G * pi / 4 * (outer**2 - inner**2) * TUBE_DENSITY
    each = 0.0 if flap else GRAVITY_N_G * (SHAFT_G / 2 + _kind(FLAP_G, flap))
    a = span / 2 - flap_x(frame, 0)
    return (5 * per_mm * span**4 / 384 + each * a * (3 * span**2 - 4 * a**2) / 24) / bending


def lifts_share(frame: Frame, flap: int) -> float:
    """Return what share of the roller's force on the flank is left to shut the flap after friction; below 0 it jams.

    The flank pushes the lever along its axle too, against a collar, and the axle against its bores.
    """
    angle = radians(pressure_angle_deg(frame, flap))
    arm = float(frame.feeder.lever)
    lost = WOOD_FRICTION * (sin(angle) * THRUST_RADIUS + frame.feeder.axle_tube[0] / 2)
    return (arm * (cos(angle) - CAM_FRICTION * sin(angle)) - lost) / arm


def servo_nmm(frame: Frame) -> float:
    """Return the moment that the camshaft takes at most: a flap that shuts with a shaft on it, and all rollers roll."""
    worst = 0.0
    for flap in flaps(frame):
        force = on_cam_n(frame, flap, True) / max(lifts_share(frame, flap), 1e-6)
        push = force * tan(radians(pressure_angle_deg(frame, flap)))
        worst = max(worst, max(push * rim_radius(frame, flap), force * rise_mm_per_rad(frame, flap)))
    rolling = sum(on_cam_n(frame, i, False) * CAM_FRICTION * rim_radius(frame, i) for i in flaps(frame))
    return worst + rolling


def falls_in_s(frame: Frame, flap: int) -> float:
    """Return how long a flap takes to fall open by itself when its notch is there at once, s."""
    flap_g = PRINTED_FILL * _kind(FLAP_G, flap)
    long = max(reach(frame, flap))
    inertia = 1e-9 * (2 * flap_g * long**2 / 3 + LEVER_G * frame.feeder.lever**2)  # kg m2
    speed = angle = seconds = 0.0
    while angle < radians(abs(swing_deg(frame, flap))):
        moment = opening_nmm(frame, flap, angle * 180 / pi) - friction_nmm(frame, flap)
        speed += 1e-3 * moment / inertia * 1e-4
        angle += speed * 1e-4
        seconds += 1e-4
    return seconds
