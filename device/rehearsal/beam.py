"""The truth about a bent shaft: its large-deflection curve, by stepping along it.

A beam lies on two supports a fixed span apart, free to slide, with a load at midspan. Half of it is integrated from
a support inward, for unit reaction and unit stiffness EI, until it is level: the moment at a point is that of the
support's reaction. With s along the beam, y down, theta the slope and theta_s the slope at the support,

    d theta / ds = -(x cos b + y sin b),   dx/ds = cos theta,   dy/ds = sin theta,   theta(0) = theta_s

where b = theta_s when the reaction is normal to the beam (no friction) and b = 0 when it stays vertical. Where theta
reaches 0, x is half the span and y the deflection, in units of sqrt(EI / R). The load is twice the vertical part of
the reaction, so with w = deflection / span and p = load span^2 / EI

    w = y / (2 x),   p = 8 x^2 cos b
"""

import math
from array import array

STEPS = 24  # Runge-Kutta steps along half the beam
NODES = 200
TABLES: dict = {}  # by whether the reactions are normal to the beam
SLOPE_MAX = 0.6  # at the support, radians: deflection of a sixth of the span and more


def _rates(slope: float, x: float, y: float, cos_b: float, sin_b: float):
    return -(x * cos_b + y * sin_b), math.cos(slope), math.sin(slope)


def _runge_kutta(slope: float, x: float, y: float, cos_b: float, sin_b: float, h: float):
    """Do one classical fourth-order step of length h along the beam."""
    a, b, c = _rates(slope, x, y, cos_b, sin_b)
    d, e, f = _rates(slope + h / 2 * a, x + h / 2 * b, y + h / 2 * c, cos_b, sin_b)
    g, i, j = _rates(slope + h / 2 * d, x + h / 2 * e, y + h / 2 * f, cos_b, sin_b)
    k, m, n = _rates(slope + h * g, x + h * i, y + h * j, cos_b, sin_b)
    return (
        slope + h / 6 * (a + 2 * d + 2 * g + k),
        x + h / 6 * (b + 2 * e + 2 * i + m),
        y + h / 6 * (c + 2 * f + 2 * j + n),
    )


def half_beam(support_slope: float, normal: bool = True):
    """Return (w, p) of the beam whose slope at the support is `support_slope` radians, as defined above."""
    b = support_slope if normal else 0.0
    cos_b, sin_b = math.cos(b), math.sin(b)
    slope, x, y = support_slope, 0.0, 0.0
    h = math.sqrt(2 * support_slope) / STEPS  # a straight beam of unit stiffness is level after sqrt(2 theta_s)
    for _ in range(STEPS):
        slope, x, y = _runge_kutta(slope, x, y, cos_b, sin_b, h)
    for _ in range(3):  # the rest of the way to level, by Newton's method
        h = slope / (x * cos_b + y * sin_b)
        slope, x, y = _runge_kutta(slope, x, y, cos_b, sin_b, h)
    return y / (2 * x), 8 * x * x * cos_b


def _integrated(normal: bool):
    w = array("d", [0.0] * (NODES + 1))
    ratio = array("d", [48.0] * (NODES + 1))  # small deflection: w = p / 48
    for i in range(1, NODES + 1):
        w[i], p = half_beam(SLOPE_MAX * i / NODES, normal)
        ratio[i] = p / w[i]
    return w, ratio


class Beam:
    """Dimensionless law of load and deflection, from a table that is integrated once.

    The table holds p / w, which is smooth and 48 at rest, at the nodes' w; a cubic through four nodes lies between.
    """

    def __init__(self, normal: bool = True) -> None:
        if normal not in TABLES:
            TABLES[normal] = _integrated(normal)
        self._w, self._ratio = TABLES[normal]
        self.w_max = self._w[NODES]
        self._at = 1

    def load(self, w: float) -> float:
        """Return p that bends the beam by w; 0 without contact or beyond the table, where it slips off."""
        if w <= 0.0 or w >= self.w_max:
            return 0.0
        return w * self._interpolated(w)

    def deflection(self, p: float) -> float:
        """Return w under p, the inverse of `load`; raise ValueError beyond the table."""
        w = p / 48
        for _ in range(100):
            step = (p - self.load(w)) / 48
            w += step
            if abs(step) < 1e-14:
                return w
        raise ValueError("no deflection of the table belongs to the load {}".format(p))

    def _interpolated(self, w: float) -> float:
        nodes, ratio = self._w, self._ratio
        i = self._node(w)
        a, b, c, d = w - nodes[i - 1], w - nodes[i], w - nodes[i + 1], w - nodes[i + 2]
        ab, ac, ad = b - a, c - a, d - a
        bc, bd, cd = c - b, d - b, d - c
        return (
            ratio[i - 1] * b * c * d / (ab * ac * ad)
            - ratio[i] * a * c * d / (ab * bc * bd)
            + ratio[i + 1] * a * b * d / (ac * bc * cd)
            - ratio[i + 2] * a * b * c / (ad * bd * cd)
        )

    def _node(self, w: float) -> int:
        """Return i with node i <= w < node i + 1, searched from the last i because successive readings are close."""
        nodes = self._w
        i = self._at
        while nodes[i] > w and i > 1:
            i -= 1
        while nodes[i + 1] <= w and i < NODES - 2:
            i += 1
        self._at = i
        return i
