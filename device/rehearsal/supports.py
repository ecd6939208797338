"""The rollers under a shaft: how the shaft lies on their rims, how these lift it, and what rubs along it.

The shaft lies in the nip of two rollers at each support. From a roller's axle it is seen under the angle a to the
vertical, sin a = (roller's diameter + gap) / (roller's diameter + shaft's diameter). Each rim is a crown, a circle of
`rim_radius_mm` in the planes through the roller's axle. A shaft that slopes keeps its distance from the circles on
which the crowns have their centres, so its axis rolls as on an upright plain roller of the radius (rim_radius_mm +
shaft's radius) cos a. A rim that is further out by e lifts its end by e / (2 cos a), and the middle by half of that.
Both rims of a support together press on the shaft by 1 / cos a of what it carries, and rub as much more.
"""

import math

from noise import Noise

ROLLERS = 4
ROLLERS_SEED = 20011  # of where the rollers stand, apart from all that shafts draw


class Rollers:
    """Four rollers that turn alike, each as far out of true as the next, with a place of its own from the seed."""

    def __init__(self, truths: dict, seed: int) -> None:
        noise = Noise(seed, ROLLERS_SEED)
        self._per_step = 2 * math.pi / truths["rotate_steps_per_turn"]
        self._sums = []  # cosine and sine of the four rims' departures together, mm: once a turn, and twice
        for peak_to_peak in (truths["roller_runout_mm"], truths["roller_oval_mm"]):
            cosine = sine = 0.0
            for _ in range(ROLLERS):
                angle = 2 * math.pi * noise.uniform()
                cosine += peak_to_peak / 2 * math.cos(angle)
                sine += peak_to_peak / 2 * math.sin(angle)
            self._sums.append((cosine, sine))
        self._round = truths["roller_runout_mm"] == truths["roller_oval_mm"] == 0.0
        self._rim_mm = truths["rim_radius_mm"]
        self._roller_mm, self._gap_mm = truths["roller_mm"], truths["roller_gap_mm"]
        self._share, self.pressing = 0.0, 1.0

    def carry(self, diameter_mm: float) -> float:
        """Take a shaft; return the radius of the upright roller over which its axis would roll alike, mm."""
        sine = (self._roller_mm + self._gap_mm) / (self._roller_mm + diameter_mm)
        cosine = math.sqrt(1 - sine * sine) if sine < 1 else 1.0  # a shaft that would fall through lies on one roller
        self.pressing = 1 / cosine
        self._share = self.pressing / ROLLERS
        return 0.0 if self._rim_mm is None else (self._rim_mm + diameter_mm / 2) * cosine

    def height(self, rotate: int) -> float:
        """Return how far the rims lift the middle of the shaft at a position of the rotate axis, mm."""
        if self._round:
            return 0.0
        angle = self._per_step * rotate
        cosine, sine = math.cos(angle), math.sin(angle)
        (once_c, once_s), (twice_c, twice_s) = self._sums
        lift = once_c * cosine + once_s * sine
        return self._share * (lift + twice_c * (2 * cosine * cosine - 1) + twice_s * 2 * sine * cosine)


class AxialFriction:
    """Friction along the shaft at the supports, as a coefficient: above 0 while the ends move in under a growing load.

    As the shaft sags by s its ends move in by 1.2 s^2 / span. Contact and bearings first yield elastically, within
    about `friction_slide_mm`, then the contact slides (Dahl's model). Where the shaft rolls it lays down unstrained
    contact: what was stored goes with the angle, and what is left are the creep of the ends and that of rollers which
    are not square to the shaft, `axial_friction_left`, whose sign is that of the turning.
    """

    def __init__(self, truths: dict) -> None:
        self._most, self._slide_mm = truths["friction"], truths["friction_slide_mm"]
        self._left, self._roll = truths["axial_friction_left"], math.radians(truths["friction_roll_deg"])
        self.coefficient = self._ends_mm = self._rolled = 0.0

    def lift_off(self) -> None:
        """Forget all: nothing touches."""
        self.coefficient = self._ends_mm = self._rolled = 0.0

    def roll(self, radians: float) -> None:
        """Let the shaft roll by an angle."""
        self._rolled += radians

    def sag(self, sag_mm: float, span_mm: float) -> bool:
        """Let the ends move with the sag, while the shaft rolls; return True if the friction changed."""
        ends_mm = 1.2 * sag_mm * sag_mm / span_mm
        way, rolled = (ends_mm - self._ends_mm) / self._slide_mm, self._rolled / self._roll
        self._ends_mm, self._rolled = ends_mm, 0.0
        slid, renewed = abs(way), abs(rolled)
        if slid + renewed < 1e-4:
            return False
        drawn = self._most * way + self._left * rolled
        self.coefficient += (drawn / (slid + renewed) - self.coefficient) * (1 - math.exp(-slid - renewed))
        return True


class Slip:
    """How the shaft follows the rollers: less under a load, and not at all for a moment where it skids."""

    def __init__(self, truths: dict, full_n: float) -> None:
        self._slip, self._per_n = truths["slip"], truths["slip_per_n"]
        self._skid, self._skid_at = math.radians(truths["skid_deg"]), math.radians(truths["skid_at_deg"])
        self._deep_n = full_n / 2
        self.renew()

    def renew(self) -> None:
        """Take a new shaft, which will skid once."""
        self._deep, self._waits = 0.0, self._skid != 0.0

    def follows(self, force_n: float) -> float:
        """Return the part of the rollers' way that the shaft follows under a force."""
        return 1 - self._slip - self._per_n * force_n

    def skidded(self, radians: float, force_n: float) -> float:
        """Return by how much a shaft that should turn by an angle stays behind by skidding, radians."""
        if not self._waits or force_n < self._deep_n:
            return 0.0
        self._deep += abs(radians)
        if self._deep < self._skid_at:
            return 0.0
        self._waits = False
        return self._skid if radians > 0 else -self._skid
