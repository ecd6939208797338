"""Things that a person puts into the gauge for a calibration, and their forces on the cell."""

from shaft import SHAFT, STANDARD_LOAD_N, Shaft, with_defaults

INDICATOR_COUNT_PER_MM = 10000.0
INDICATOR_NOISE_COUNT = 2.0
KINDS: dict[str, dict] = {
    "nothing": {},
    "mass": {"mass_g": 0.0, "density_kg_m3": 8000.0, "ratio": 1.0},
    "hand": {"force_n": 3.0},
    "rigid": {"give_mm_per_n": 0.0, "height_mm": 0.0, "sink_mm_at_standard": 0.0},
    "indicator": {},
    "shaft": SHAFT,
}
NO_SHAFT = {"fault": "absent"}


class Thing:
    """Thing in the gauge, from its scenario keys; raises ValueError that names an unknown kind or key.

    `shaft` is the shaft if the thing is one, else an absent shaft.
    """

    def __init__(self, given: dict, beam, absent: Shaft) -> None:
        keys = dict(given)
        self.number = keys.pop("number", 1)
        self.kind = keys.pop("kind", "nothing")
        if self.kind not in KINDS:
            raise ValueError("bench: unknown kind {!r}".format(self.kind))
        self.given = with_defaults(KINDS[self.kind], keys, self.kind)
        self.shaft = Shaft(keys, beam) if self.kind == "shaft" else absent

    def force_n(self, travel_mm: float, truths: dict) -> float:
        """Return the force on the cell besides a shaft's, N; travel counts from first contact with a straight shaft.

        Up on the head, as a shaft pushes, is positive. A mass weighs less by the air that it displaces, and pushes with
        `ratio` of that; with a rigid bar only frame and cell yield.
        """
        if self.kind == "hand":
            return self.given["force_n"]
        if self.kind == "mass":
            lift = truths["air_kg_m3"] / self.given["density_kg_m3"]
            return self.given["ratio"] * self.given["mass_g"] / 1000 * truths["gravity_m_s2"] * (1 - lift)
        if self.kind == "rigid" and travel_mm + self.given["height_mm"] > 0:
            give = truths["frame_mm_per_n"] + self.given["give_mm_per_n"]
            return _pressed(travel_mm + self.given["height_mm"], give, self.given["sink_mm_at_standard"])
        return 0.0


def _pressed(travel_mm: float, give_mm_per_n: float, sink_mm: float) -> float:
    """Return the force at which give and sinking, by the two-thirds power of the force, take up a travel, N."""
    force = travel_mm / give_mm_per_n
    if sink_mm:
        # With the cube root c of the force: give c^3 + sink (c / c_standard)^2 = travel, which Newton's method solves.
        root, bent = force ** (1 / 3), sink_mm / STANDARD_LOAD_N ** (2 / 3)
        for _ in range(30):
            root -= (give_mm_per_n * root**3 + bent * root**2 - travel_mm) / (
                3 * give_mm_per_n * root**2 + 2 * bent * root
            )
        force = root**3
    return force


class Bench:
    """All things that the person will put in; each is there from the step of its number on."""

    def __init__(self, things: list, beam) -> None:
        absent = Shaft(NO_SHAFT, beam)
        self._empty = Thing({}, beam, absent)
        self._things = [Thing(given, beam, absent) for given in things]

    def thing(self, step: int) -> Thing:
        """Return the thing that is in the gauge at a step: that with the highest number up to it."""
        found = self._empty
        for thing in self._things:
            if thing.number <= step and (found is self._empty or thing.number >= found.number):
                found = thing
        return found
