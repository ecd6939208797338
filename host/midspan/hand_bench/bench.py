"""The bench file: a dead weight and a dial indicator on a measured span, with their uncertainties.

The file is TOML. Its uncertainties are standard uncertainties (k = 1), its bounds half widths. Every key except span
and weight has a default on the cautious side. A later version of this program may know more keys and better defaults,
so what is kept of a bench has such a key only if its file has it (`HandBench.content`).

>>> bench = HandBench.model_validate(EXAMPLE)
>>> round(bench.load_n, 4), round(bench.u_mass_n, 4)
(8.6286, 0.0049)
"""

from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, field_validator, model_validator

from midspan.base.config import Section, read_toml, validated
from midspan.base.errors import ConversionError
from midspan.base.units import MM_PER_INCH, MM_PER_THOU
from midspan.hand_bench.gravity import HEIGHTS_M, Gravity, local_gravity, typed_gravity
from midspan.hand_bench.masses import U_MOST, Air, Mass
from midspan.hand_bench.supports import BenchShafts, BenchSupports

MM_PER_UNIT = {"mm": 1.0, "in": MM_PER_INCH, "thou": MM_PER_THOU}
# Beyond the bounds below a bench would measure nothing: a value there is a typing error or in another unit.
COARSEST_MM = 1.0  # 39 thou: two shafts could not be distinguished
# Keys that bench files of older versions cannot have; the sections were added whole.
ADDED = {"span": ("temperature_c", "expansion_per_k"), "indicator": ("tip_beside_mm",)}
ADDED_SECTIONS = ("supports", "shafts")
# A dead weight that does not crush the shaft and is well above the force of the dial.
LIGHTEST_G, HEAVIEST_G = 50.0, 5000.0


class BenchIdentity(Section):
    """Identity of a bench.

    Parameters
    ----------
    id : str
        Name of the bench; results refer to it as to a calibration.
    """

    id: Annotated[str, Field(min_length=1, max_length=64)]


class DeadWeight(Section):
    """The weight hung at midspan, and the hook that stays on all the time.

    Parameters
    ----------
    mass_g : float
        Conventional mass of the weight, g.
    u_mass_g : float
        Its standard uncertainty, g.
    density : float
        Density of the weight, kg/m3; it matters for the buoyancy of air only.
    hook_g : float
        Mass of the hook, g.
    """

    mass_g: float
    u_mass_g: Annotated[float, Field(ge=0)]
    density: Annotated[float, Field(gt=500, lt=25000)] = 7950.0
    hook_g: Annotated[float, Field(ge=0, le=1000)] = 0.0

    @field_validator("mass_g")
    @classmethod
    def _in_grams(cls, mass_g: float) -> float:
        """Return the mass, or raise ValueError if it cannot be in grams."""
        if not LIGHTEST_G <= mass_g <= HEAVIEST_G:
            raise ValueError(
                f"weight.mass_g = {mass_g:g} is not between {LIGHTEST_G:g} and {HEAVIEST_G:g} g: is it in kilograms or "
                "pounds? Write grams (1.94 lb is 880 g)"
            )
        return mass_g

    @model_validator(mode="after")
    def _is_known(self) -> "DeadWeight":
        """Return the section, or raise ValueError if the mass is too uncertain for a weight."""
        if self.u_mass_g > U_MOST * self.mass_g:
            raise ValueError(
                f"weight.u_mass_g = {self.u_mass_g:g} g is more than {U_MOST:.0%} of the weight: was it written in "
                "milligrams? Correct it, or weigh the weight"
            )
        return self


class BenchPlace(Section):
    """Local gravity as measured, or the latitude and height from which it follows; exactly one of the two.

    Parameters
    ----------
    gravity_m_s2 : float, optional
        Measured gravity, m/s2; None to use the latitude.
    u_gravity_m_s2 : float
        Standard uncertainty of gravity, m/s2.
    latitude_deg : float, optional
        Latitude, degrees; None to use the measured gravity.
    height_m : float
        Height above the sea, m.
    """

    gravity_m_s2: float | None = None
    u_gravity_m_s2: Annotated[float, Field(ge=0, le=0.05)] = 5e-4  # 0.05 is the difference between equator and poles
    latitude_deg: Annotated[float, Field(ge=-90, le=90)] | None = None
    height_m: Annotated[float, Field(ge=HEIGHTS_M[0], le=HEIGHTS_M[1])] = 0.0

    @model_validator(mode="after")
    def _is_known(self) -> "BenchPlace":
        """Return the section, or raise ValueError unless it has either a plausible gravity or a latitude."""
        if (self.gravity_m_s2 is None) == (self.latitude_deg is None):
            raise ValueError("place: give either gravity_m_s2 or latitude_deg (with height_m), not both")
        try:
            self.gravity()
        except ConversionError as error:
            raise ValueError(f"place: {error}") from error
        return self

    def gravity(self) -> Gravity:
        """Return local gravity.

        Returns
        -------
        Gravity
            Value with its uncertainty and source.
        """
        if self.gravity_m_s2 is not None:
            return typed_gravity(self.gravity_m_s2, self.u_gravity_m_s2)
        return local_gravity(self.latitude_deg or 0.0, self.height_m, self.u_gravity_m_s2)


class BenchSpan(Section):
    """Distance between the two lines on which the shaft rests.

    Parameters
    ----------
    span_mm : float
        Distance, mm.
    u_span_mm : float
        Its standard uncertainty, mm.
    temperature_c : float or None
        Temperature at which it was measured, degrees Celsius; None if unknown.
    expansion_per_k : float
        Thermal expansion of what sets the span, relative per kelvin; aluminium where the file has no entry.
    """

    span_mm: float
    u_span_mm: Annotated[float, Field(ge=0, le=10)]
    temperature_c: Annotated[float, Field(gt=-20, lt=60)] | None = None
    expansion_per_k: Annotated[float, Field(ge=0, lt=1e-3)] = 2.34e-5

    @field_validator("span_mm")
    @classmethod
    def _in_mm(cls, span_mm: float) -> float:
        """Return the span, or raise ValueError if it cannot be in millimetres."""
        if not 200 <= span_mm <= 1500:
            raise ValueError(
                f"span.span_mm = {span_mm:g} is not between 200 and 1500 mm: is it in inches? 28 in is 711.2 mm"
            )
        return span_mm


class DialIndicator(Section):
    """The dial indicator: unit and graduation, error, and the force of its spring on the shaft.

    Parameters
    ----------
    unit : str
        Unit of the readings: mm, in or thou.
    when_lower : str
        Direction of the reading as the shaft goes down: rises or falls.
    graduation : float
        Smallest step that is read, in `unit`.
    u_error_mm : float
        Standard uncertainty of the difference of two readings, from the certificate or gauge blocks, mm.
    tilt_deg : float
        Largest angle from square to the shaft, degrees.
    force_n : float
        Force on the unloaded shaft, N.
    force_change_n : float
        Change of that force under load, N; below 0 if it presses less.
    u_force_change_n : float
        Standard uncertainty of that change, N.
    tip_beside_mm : float
        Largest distance of the tip from the hook, along the shaft, mm.
    """

    unit: Literal["mm", "in", "thou"] = "mm"
    when_lower: Literal["rises", "falls"] = "rises"
    graduation: Annotated[float, Field(ge=1e-6)]
    u_error_mm: Annotated[float, Field(ge=0, le=1)]
    tilt_deg: Annotated[float, Field(ge=0, le=10)] = 1.0
    force_n: Annotated[float, Field(ge=0, le=20)] = 0.0
    force_change_n: Annotated[float, Field(ge=-2, le=2)] = 0.0  # 2 N are a quarter of the load
    u_force_change_n: Annotated[float, Field(ge=0, le=2)] = 0.01  # an unseen change of the spring
    tip_beside_mm: Annotated[float, Field(ge=0, le=50)] = 5.0

    @property
    def mm(self) -> float:
        """Millimetres per unit of a reading, positive downward."""
        return MM_PER_UNIT[self.unit] * (1 if self.when_lower == "rises" else -1)

    @model_validator(mode="after")
    def _is_fine_enough(self) -> "DialIndicator":
        """Return the section, or raise ValueError if the graduation is too coarse to compare shafts."""
        if self.graduation * abs(self.mm) > COARSEST_MM:
            raise ValueError(
                f"indicator.graduation = {self.graduation:g} {self.unit} is more than {COARSEST_MM:g} mm: is the unit "
                "right? Correct graduation or unit"
            )
        return self


class BenchFrame(Section):
    """Compliance of everything but the shaft: supports sinking under the load, and a stand that follows them.

    Parameters
    ----------
    give_mm_per_n : float
        Compliance, mm per N.
    u_give_mm_per_n : float
        Its standard uncertainty, mm per N.
    off_centre_mm : float
        Largest distance of the load from midspan, mm.
    """

    give_mm_per_n: Annotated[float, Field(ge=0, lt=0.1)] = 0.0
    u_give_mm_per_n: Annotated[float, Field(ge=0, lt=0.1)] = 2e-4
    off_centre_mm: Annotated[float, Field(ge=0, le=20)] = 1.0


class HandBench(Section):
    """A whole bench file.

    Parameters
    ----------
    bench : BenchIdentity
        Id.
    weight : DeadWeight
        Weight and hook.
    place : BenchPlace
        Local gravity.
    span : BenchSpan
        Span.
    indicator : DialIndicator
        Dial indicator.
    frame : BenchFrame
        Compliance.
    supports : BenchSupports
        Edges and friction.
    shafts : BenchShafts
        Shafts that are measured.
    """

    bench: BenchIdentity
    weight: DeadWeight
    place: BenchPlace
    span: BenchSpan
    indicator: DialIndicator
    frame: BenchFrame = BenchFrame()
    supports: BenchSupports = BenchSupports()
    shafts: BenchShafts = BenchShafts()

    @property
    def mass(self) -> Mass:
        """The weight with its uncertainty; a weight that was weighed on a scale has its conventional mass."""
        return Mass("weight", self.weight.mass_g, self.weight.u_mass_g, self.weight.density)

    @property
    def load_n(self) -> float:
        """Force of the weight in air, N."""
        return self.mass.force_n(self.place.gravity().m_s2, Air()).newtons

    @property
    def u_mass_n(self) -> float:
        """Standard uncertainty of the force from the mass, N."""
        return self.mass.force_n(self.place.gravity().m_s2, Air()).u_mass_n

    def content(self) -> dict[str, dict[str, Any]]:
        """Return what is kept of the bench: the same for the same file, whatever version reads it.

        Returns
        -------
        dict
            Values by section and key; without those of ADDED that the file does not have.

        Examples
        --------
        >>> bench = HandBench.model_validate(EXAMPLE)
        >>> "frame" in bench.content(), sorted(bench.content()["supports"])
        (True, ['before_reading', 'edge_radius_mm', 'rollers', 'u_edge_radius_mm'])
        """
        stated = self.model_dump(mode="json", exclude_unset=True)
        whole = self.model_dump(mode="json", exclude={name for name in ADDED_SECTIONS if name not in stated})
        for name in ADDED_SECTIONS:
            whole |= {name: stated[name]} if name in stated else {}
        for name, keys in ADDED.items():
            for key in keys:
                if key not in stated[name]:
                    del whole[name][key]
        return whole


EXAMPLE: dict[str, Any] = {
    "bench": {"id": "hand-bench"},
    "weight": {"mass_g": 880.0, "u_mass_g": 0.5},
    "place": {"gravity_m_s2": 9.80665},
    "span": {"span_mm": 711.2, "u_span_mm": 0.1},
    "indicator": {"graduation": 0.01, "u_error_mm": 0.004, "u_force_change_n": 0.01},
    "supports": {"rollers": True, "before_reading": "turn", "edge_radius_mm": 3.0, "u_edge_radius_mm": 0.05},
}

TEMPLATE = """\
# A hand bench for Midspan. Uncertainties (u_...) are standard uncertainties: a bound divided by 1.73.

[bench]
id = "{id}"

[weight]
mass_g = {mass_g}              # what is hung on, as weighed
u_mass_g = {u_mass_g}

[place]
{place}

[span]
span_mm = {span_mm}
u_span_mm = {u_span_mm}
# temperature_c = 20.0       # at which it was measured
expansion_per_k = 2.34e-5    # of the beam: aluminium 2.34e-5, steel 1.2e-5, wood 0.5e-5

[indicator]
unit = "{unit}"                # mm, in or thou (thousandths of an inch)
when_lower = "{when_lower}"        # what the reading does as the shaft goes down: rises or falls
graduation = {graduation}          # smallest step that you read, in that unit
u_error_mm = 0.004         # of the difference of two readings: certificate, or gauge blocks
tilt_deg = 1.0             # at most this far from square to the shaft
force_n = 0.0              # pressing on the unloaded shaft: press it on kitchen scales
force_change_n = 0.0       # pressing less under load is negative
u_force_change_n = 0.01
tip_beside_mm = 5.0        # from the hook, at most

[frame]
give_mm_per_n = 0.0        # sinking of supports and stand under the load: repeat on a stiff bar
u_give_mm_per_n = 0.0002
off_centre_mm = 1.0        # the load hangs at most this far from midspan

[supports]
rollers = {rollers}            # true: pins that turn in ball bearings as the shaft bends
before_reading = "{before_reading}"   # with the weight on: nothing, tap (the table) or turn (the shaft, to and fro)
edge_radius_mm = {edge_radius_mm}       # of edges or pins
u_edge_radius_mm = {u_edge_radius_mm}

[shafts]
diameter_mm = [5.5, 9.0]   # smallest and largest; that of a shaft: midspan hand measure --diameter
sink_mm_per_n = 0.0005     # the wall gives on the edges: hang the weight over an edge
u_sink_mm_per_n = 0.0004
held_s = 10.0              # from hanging the weight on to the reading
u_creep_per_decade = 0.0002  # 0 for a bar of metal, 0.01 for wood
"""


def load_bench(path: Path) -> HandBench:
    """Return the checked contents of a bench file.

    Parameters
    ----------
    path : Path
        TOML file.

    Returns
    -------
    HandBench
        Every value within its limits.

    Raises
    ------
    ConfigurationError
        The file cannot be read, or a key is missing, unknown or out of range; the message names file and key.
    """
    return validated(HandBench, read_toml(path), path)
