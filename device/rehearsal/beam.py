"""The truth about a bent shaft: its large-deflection curve, by stepping along it.

A beam lies on two supports a fixed span apart, free to slide, with a load at midspan. Half of it is integrated from
a support inward, for unit reaction and unit stiffness EI, until it is level: the moment at a point is that of the
support's reaction. With s along the beam, y down, theta the slope and theta_s the slope at the support,

    d theta / ds = -(x cos b + y sin b),   dx/ds = cos theta,   dy/ds = sin theta,   theta(0) = theta_s

where b = theta_s when the reaction is normal to the beam (no friction) and b = 0 when it stays vertical. Where theta
reaches 0, x is half the span and y the deflection, in units of sqrt(EI / R). The load is twice the vertical part of
the reaction, so with w = deflection / span and p = load span^2 / EI

    w = y / (2 x),   p = 8 x^2 cos b

Supports need not be edges. On an upright roller of radius r (the beam's own included) the axis meets the reaction
r sin theta_s further in and r (1 - cos theta_s) lower than at rest. Friction along the beam, mu times the normal
reaction and outward as it is while the ends move in, turns the reaction by atan mu: b = theta_s - atan mu.
"""

import math
from array import array

STEPS = 24  # Runge-Kutta steps along half the beam
NODES = 200
TABLES: dict = {}  # by whether the reactions are normal to the beam
SLOPE_MAX = 0.6  # at the support, radians: deflection of a sixth of the span and more
FRICTION, FRICTION_NODES = 0.2, 24  # coefficient and nodes of the tables of friction


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


def half_beam(support_slope: float, normal: bool = True, rim: float = 0.0, friction: float = 0.0):
    """Return (w, p) of the beam whose slope at the support is `support_slope` radians, as defined above.

    `rim` is the roller's and the beam's radius together as a part of the span, `friction` the coefficient mu.
    """
    b = support_slope - math.atan(friction) if normal else 0.0
    cos_b, sin_b = math.cos(b), math.sin(b)
    slope, x, y = support_slope, 0.0, 0.0
    h = math.sqrt(2 * support_slope) / STEPS  # a straight beam of unit stiffness is level after sqrt(2 theta_s)
    for _ in range(STEPS):
        slope, x, y = _runge_kutta(slope, x, y, cos_b, sin_b, h)
    for _ in range(3):  # the rest of the way to level, by Newton's method
        h = slope / (x * cos_b + y * sin_b)
        slope, x, y = _runge_kutta(slope, x, y, cos_b, sin_b, h)
    return _on_rims(y / (2 * x), 8 * x * x * cos_b, support_slope, rim)


def _on_rims(w: float, p: float, slope: float, rim: float):
    """Return (w, p) on rollers of a beam that has a given (w, p) and slope between its points of support.

    These are closer than the rollers by 2 r sin(slope), and lower than at rest by r (1 - cos(slope)).
    """
    within = 1 - 2 * rim * math.sin(slope)
    return w * within + rim * (1 - math.cos(slope)), p / (within * within)


def _integrated(normal: bool):
    w = array("d", [0.0] * (NODES + 1))
    ratio = array("d", [48.0] * (NODES + 1))  # small deflection: w = p / 48
    for i in range(1, NODES + 1):
        w[i], p = half_beam(SLOPE_MAX * i / NODES, normal)
        ratio[i] = p / w[i]
    return w, ratio


def _friction_factors(w, ratio):
    """Return, for friction FRICTION outward and inward, nodes w and by what friction multiplies the load there."""
    tables = []
    for friction in (FRICTION, -FRICTION):
        at, factor = array("d", [0.0]), array("d", [1.0])
        for i in range(1, FRICTION_NODES + 1):
            reached, p = half_beam(SLOPE_MAX * i / FRICTION_NODES, True, 0.0, friction)
            if reached < w[NODES]:
                at.append(reached)
                factor.append(p / (reached * _cubic(w, ratio, _node(w, reached, 1), reached)))
        tables.append((at, factor))
    return tables


def _cubic(nodes, values, i: int, w: float) -> float:
    """Return the cubic through the four nodes around the interval i at w."""
    a, b, c, d = w - nodes[i - 1], w - nodes[i], w - nodes[i + 1], w - nodes[i + 2]
    ab, ac, ad = b - a, c - a, d - a
    bc, bd, cd = c - b, d - b, d - c
    return (
        values[i - 1] * b * c * d / (ab * ac * ad)
        - values[i] * a * c * d / (ab * bc * bd)
        + values[i + 1] * a * b * d / (ac * bc * cd)
        - values[i + 2] * a * b * c / (ad * bd * cd)
    )


def _node(nodes, w: float, i: int) -> int:
    """Return i with node i <= w < node i + 1, searched from a given i because successive readings are close."""
    last = len(nodes) - 3
    while nodes[i] > w and i > 1:
        i -= 1
    while nodes[i + 1] <= w and i < last:
        i += 1
    return i


def _line(nodes, values, w: float) -> float:
    """Return the value at w, on the straight line between the two nodes around it."""
    i = 1
    while i < len(nodes) - 1 and nodes[i] < w:
        i += 1
    return values[i] + (values[i - 1] - values[i]) * (nodes[i] - w) / (nodes[i] - nodes[i - 1])


class Beam:
    """Dimensionless law of load and deflection, from a table that is integrated once.

    The table holds p / w, which is smooth and 48 at rest, at the nodes' w; a cubic through four nodes lies between.
    `lie_on` puts the beam on rollers.
    """

    def __init__(self, normal: bool = True) -> None:
        if normal not in TABLES:
            TABLES[normal] = _integrated(normal)
        self._normal = normal
        self._rim = 0.0
        self._rubbed = (0.0, 0.0, 1.0)  # deflection, friction and factor of the last answer
        self._w, self._ratio = TABLES[normal]
        self.w_max = self._w[NODES]
        self._at = 1

    def lie_on(self, rim: float) -> None:
        """Lie on rollers whose radius, the beam's included, is `rim` of the span; 0 is an edge at the beam's axis."""
        if rim == self._rim:
            return
        self._rim = rim
        edges_w, edges_ratio = TABLES[self._normal]
        if self._w is edges_w:
            self._w, self._ratio = array("d", edges_w), array("d", edges_ratio)
        for i in range(1, NODES + 1):
            slope, w = SLOPE_MAX * i / NODES, edges_w[i]
            self._w[i], p = _on_rims(w, w * edges_ratio[i], slope, rim)
            self._ratio[i] = p / self._w[i]
        self.w_max = self._w[NODES]

    def rubbed(self, w: float, friction: float) -> float:
        """Return by what friction along the beam multiplies the load at a deflection.

        A parabola through the factors of -FRICTION, 0 and FRICTION, each a straight line between its nodes. What is as
        good as the last answer to a millionth gets that.
        """
        if not self._normal:
            return 1.0
        last_w, last_friction, factor = self._rubbed
        if abs(w - last_w) * abs(friction) + abs(friction - last_friction) * w < 4e-7:
            return factor
        if "rubbed" not in TABLES:
            TABLES["rubbed"] = _friction_factors(*TABLES[True])
        (out_w, out), (in_w, inward) = TABLES["rubbed"]
        x, more, less = friction / FRICTION, _line(out_w, out, w), _line(in_w, inward, w)
        factor = 1 + x * (more - less) / 2 + x * x * ((more + less) / 2 - 1)
        self._rubbed = w, friction, factor
        return factor

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
        self._at = i = _node(self._w, w, self._at)
        return _cubic(self._w, self._ratio, i, w)
