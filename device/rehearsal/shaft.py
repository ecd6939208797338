"""A shaft with a known truth: its reading on the standard bench, and the stiffness and surface that give it."""

import math

from beam import Beam

STANDARD_SPAN_MM = 28 * 25.4  # ASTM F2031: 28 in
STANDARD_LOAD_N = 0.880 * 9.80665  # ASTM F2031: 880 g, in standard gravity
THOU_MM = 0.0254
AROUND = 16  # equally spaced angles are exact for a smooth periodic mean

SHAFT = {
    "number": 1, "spine_thou": 500.0, "spread_thou": 0.0, "stiff_side_deg": 0.0, "bow_mm": 0.0, "bow_deg": 0.0,
    "out_of_round_mm": 0.0, "out_of_round_deg": 0.0, "hysteresis": 0.0, "diameter_mm": 7.5, "fault": None,
    "ei_n_mm2": None, "lost_steps": 0, "sideways": False, "wave_mm": 0.0, "wave_order": 5, "wave_deg": 0.0,
    "modulus_per_k": -8.0e-5, "sink_mm_at_standard": None, "shaft_creep": None, "shaft_creep_s": None,
}  # fmt: skip
FAULTS = ("absent", "soft", "stiff_jam", "cell_silent", "cell_stuck", "cell_out_of_step", "cell_saturated")


def with_defaults(defaults: dict, given: dict, what: str) -> dict:
    """Return `defaults` updated by `given`; raise ValueError that names a key without a default."""
    for key in given:
        if key not in defaults:
            raise ValueError("{}: unknown key {!r}".format(what, key))
    merged = dict(defaults)
    merged.update(given)
    return merged


class Shaft:
    """The truth of one shaft: bending stiffness and surface around it. Angles in radians.

    A shaft that the head holds sideways bends in the plane of the press, and its stiffness there is
    EI(phi) = ei * (1 + evenness * cos 2 (phi - stiff side)), in N mm^2. Free to move sideways it gives way towards its
    soft side, and the compliance is that sinusoid: EI(phi) = ei / (1 - evenness * cos 2 (phi - stiff side)). The
    surface stands out by height(phi), in mm. The mean of the standard deflection around is spine_thou, its range
    spread_thou.
    """

    def __init__(self, given: dict, beam: Beam) -> None:
        self.given = with_defaults(SHAFT, given, "shaft")
        if self.given["fault"] is not None and self.given["fault"] not in FAULTS:
            raise ValueError("shaft: unknown fault {!r}".format(self.given["fault"]))
        self.fault = self.given["fault"]
        self._beam = beam
        if self.given["ei_n_mm2"] is not None:
            self.given["spine_thou"] = self._spine_of(self.given["ei_n_mm2"])
        self._stiff = math.radians(self.given["stiff_side_deg"])
        self._sideways = self.given["sideways"]
        self._surface = []  # amplitude, mm, number around and angle of the crest
        for name, number in (("bow", 1), ("out_of_round", 2), ("wave", self.given["wave_order"])):
            if self.given[name + "_mm"]:
                self._surface.append((self.given[name + "_mm"], number, math.radians(self.given[name + "_deg"])))
        middle_thou = self.given["spine_thou"]  # of the range: off the mean by the square of the evenness
        for _ in range(4):
            self._settle(middle_thou)
            middle_thou += self.given["spine_thou"] - self._mean_thou()

    def stiffness(self, phi: float) -> float:
        """Return EI for bending in the plane at angle phi, N mm^2."""
        uneven = self.evenness * math.cos(2 * (phi - self._stiff))
        return self.ei / (1 - uneven) if self._sideways else self.ei * (1 + uneven)

    def height(self, phi: float) -> float:
        """Return how far the surface stands out towards the head beyond that of a straight round shaft, mm."""
        height = 0.0
        for amplitude, number, crest in self._surface:
            height += amplitude * math.cos(number * (phi - crest))
        return height

    def standard_thou(self, phi: float) -> float:
        """Return the standard deflection with the shaft turned to phi, thousandths of an inch."""
        return self._spine_of(self.stiffness(phi))

    def _spine_of(self, ei: float) -> float:
        p = STANDARD_LOAD_N * STANDARD_SPAN_MM**2 / ei
        return self._beam.deflection(p) * STANDARD_SPAN_MM / THOU_MM

    def _settle(self, middle_thou: float) -> None:
        soft = self._stiffness_of(middle_thou + self.given["spread_thou"] / 2)
        stiff = self._stiffness_of(middle_thou - self.given["spread_thou"] / 2)
        self.ei = 2 * stiff * soft / (stiff + soft) if self._sideways else (stiff + soft) / 2
        self.evenness = (stiff - soft) / (stiff + soft)

    def _stiffness_of(self, spine_thou: float) -> float:
        w = spine_thou * THOU_MM / STANDARD_SPAN_MM
        return STANDARD_LOAD_N * STANDARD_SPAN_MM**2 / self._beam.load(w)

    def _mean_thou(self) -> float:
        return sum([self.standard_thou(2 * math.pi * i / AROUND) for i in range(AROUND)]) / AROUND


def truth(given: dict, kelvin: float = 0.0) -> dict:
    """Return what a perfect gauge would report of the shaft with given scenario keys.

    That is at edges without friction into which the shaft does not sink, `kelvin` above the temperature at which the
    keys hold. Runout is the total indicator reading at midspan; angles count from where the shaft lies at the first
    zero.
    """
    shaft = Shaft(given, Beam())
    heights = [shaft.height(math.radians(i / 2)) for i in range(720)]
    softened = 1 + shaft.given["modulus_per_k"] * kelvin
    around = [
        shaft._spine_of(softened * shaft.stiffness(shaft._stiff + math.pi * i / AROUND)) for i in range(AROUND + 1)
    ]
    return {
        "spine_thou": sum(around[:AROUND]) / AROUND,
        "spread_thou": max(around) - min(around),
        "stiff_side_deg": shaft.given["stiff_side_deg"] % 180,
        "runout_mm": max(heights) - min(heights),
        "hysteresis": shaft.given["hysteresis"],
    }
