"""The hand bench: a dead weight and a dial indicator on a measured span, and how well each of them is known.

Its file is TOML; uncertainties in it are standard uncertainties (one sigma), bounds are half widths. Every key but
the span and the weight has a default, chosen on the careful side.

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

MM_PER_UNIT = {"mm": 1.0, "in": MM_PER_INCH, "thou": MM_PER_THOU}
# Beyond the bounds below a bench would measure nothing: a value there is a slip of the pen or in another unit.
COARSEST_MM = 1.0  # 39 thou: nothing that is read so coarsely tells two shafts apart
# Dead weight that neither crushes a shaft nor hides in the dial's own force.
LIGHTEST_G, HEAVIEST_G = 50.0, 5000.0


class BenchIdentity(Section):
    """Which bench; its id stands in every result like that of a gauge's calibration."""

    id: Annotated[str, Field(min_length=1, max_length=64)]


class DeadWeight(Section):
    """What is hung on at midspan: its conventional mass, and the hook that stays on all the time."""

    mass_g: float
    u_mass_g: Annotated[float, Field(ge=0)]
    density: Annotated[float, Field(gt=500, lt=25000)] = 7950.0  # kg/m3; enters by the buoyancy of air only
    hook_g: Annotated[float, Field(ge=0, le=1000)] = 0.0

    @field_validator("mass_g")
    @classmethod
    def _in_grams(cls, mass_g: float) -> float:
        if not LIGHTEST_G <= mass_g <= HEAVIEST_G:
            raise ValueError(
                f"weight.mass_g = {mass_g:g} is not between {LIGHTEST_G:g} and {HEAVIEST_G:g} g: is it in kilograms or "
                "pounds? Write grams (1.94 lb is 880 g)"
            )
        return mass_g

    @model_validator(mode="after")
    def _is_known(self) -> "DeadWeight":
        if self.u_mass_g > U_MOST * self.mass_g:
            raise ValueError(
                f"weight.u_mass_g = {self.u_mass_g:g} g is more than {U_MOST:.0%} of the weight: was it written in "
                "milligrams? Correct it, or weigh the weight"
            )
        return self


class BenchPlace(Section):
    """Local gravity as measured, or the latitude and height it follows from."""

    gravity_m_s2: float | None = None
    u_gravity_m_s2: Annotated[float, Field(ge=0, le=0.05)] = 5e-4  # that between equator and poles
    latitude_deg: Annotated[float, Field(ge=-90, le=90)] | None = None
    height_m: Annotated[float, Field(ge=HEIGHTS_M[0], le=HEIGHTS_M[1])] = 0.0

    @model_validator(mode="after")
    def _is_known(self) -> "BenchPlace":
        if (self.gravity_m_s2 is None) == (self.latitude_deg is None):
            raise ValueError("place: give either gravity_m_s2 or latitude_deg (with height_m), and only one of them")
        try:
            self.gravity()
        except ConversionError as error:
            raise ValueError(f"place: {error}") from error
        return self

    def gravity(self) -> Gravity:
        """Local gravity with its uncertainty and where it came from."""
        if self.gravity_m_s2 is not None:
            return typed_gravity(self.gravity_m_s2, self.u_gravity_m_s2)
        return local_gravity(self.latitude_deg or 0.0, self.height_m, self.u_gravity_m_s2)


class BenchSpan(Section):
    """Distance between the two lines on which the shaft rests."""

    span_mm: float
    u_span_mm: Annotated[float, Field(ge=0, le=10)]

    @field_validator("span_mm")
    @classmethod
    def _in_mm(cls, span_mm: float) -> float:
        if not 200 <= span_mm <= 1500:
            raise ValueError(
                f"span.span_mm = {span_mm:g} is not between 200 and 1500 mm: is it in inches? 28 in is 711.2 mm"
            )
        return span_mm


class DialIndicator(Section):
    """The dial indicator: its unit and graduation, its error, and the force of its spring on the shaft."""

    unit: Literal["mm", "in", "thou"] = "mm"
    when_lower: Literal["rises", "falls"] = "rises"  # what the reading does as the shaft goes down
    graduation: Annotated[float, Field(ge=1e-6)]  # smallest step that is read, in its unit
    # Of the difference of two readings, from its certificate or against gauge blocks.
    u_error_mm: Annotated[float, Field(ge=0, le=1)]
    tilt_deg: Annotated[float, Field(ge=0, le=10)] = 1.0  # at most this far from square to the shaft
    force_n: Annotated[float, Field(ge=0, le=20)] = 0.0  # pressing on the unloaded shaft
    force_change_n: Annotated[float, Field(ge=-2, le=2)] = 0.0  # pressing less under load is negative
    # A spring may change by so much unseen; 2 N are a quarter of the load.
    u_force_change_n: Annotated[float, Field(ge=0, le=2)] = 0.01

    @property
    def mm(self) -> float:
        """Millimetres per unit of a reading, downward positive."""
        return MM_PER_UNIT[self.unit] * (1 if self.when_lower == "rises" else -1)

    @model_validator(mode="after")
    def _is_fine_enough(self) -> "DialIndicator":
        if self.graduation * abs(self.mm) > COARSEST_MM:
            raise ValueError(
                f"indicator.graduation = {self.graduation:g} {self.unit} is more than {COARSEST_MM:g} mm: is the unit "
                "right? Correct graduation or unit"
            )
        return self


class BenchFrame(Section):
    """What gives besides the shaft: supports sinking under the load, indicator stand following it."""

    give_mm_per_n: Annotated[float, Field(ge=0, lt=0.1)] = 0.0
    u_give_mm_per_n: Annotated[float, Field(ge=0, lt=0.1)] = 2e-4
    off_centre_mm: Annotated[float, Field(ge=0, le=20)] = 1.0  # the load hangs at most this far from midspan


class HandBench(Section):
    """A whole bench file."""

    bench: BenchIdentity
    weight: DeadWeight
    place: BenchPlace
    span: BenchSpan
    indicator: DialIndicator
    frame: BenchFrame = BenchFrame()

    @property
    def mass(self) -> Mass:
        """The weight with its uncertainty; an improvised one has been weighed, which gives conventional mass."""
        return Mass("weight", self.weight.mass_g, self.weight.u_mass_g, self.weight.density)

    @property
    def load_n(self) -> float:
        """Force of the weight in air, in N."""
        return self.mass.force_n(self.place.gravity().m_s2, Air()).newtons

    @property
    def u_mass_n(self) -> float:
        """What the uncertainty of the mass makes of the force, in N."""
        return self.mass.force_n(self.place.gravity().m_s2, Air()).u_mass_n


EXAMPLE: dict[str, Any] = {
    "bench": {"id": "hand-bench"},
    "weight": {"mass_g": 880.0, "u_mass_g": 0.5},
    "place": {"gravity_m_s2": 9.80665},
    "span": {"span_mm": 711.2, "u_span_mm": 0.1},
    "indicator": {"graduation": 0.01, "u_error_mm": 0.004, "u_force_change_n": 0.01},
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

[indicator]
unit = "{unit}"                # mm, in or thou (thousandths of an inch)
when_lower = "{when_lower}"        # what the reading does as the shaft goes down: rises or falls
graduation = {graduation}          # smallest step that you read, in that unit
u_error_mm = 0.004         # of the difference of two readings: certificate, or gauge blocks
tilt_deg = 1.0             # at most this far from square to the shaft
force_n = 0.0              # pressing on the unloaded shaft: press it on kitchen scales
force_change_n = 0.0       # pressing less under load is negative
u_force_change_n = 0.01

[frame]
give_mm_per_n = 0.0        # sinking of supports and stand under the load: repeat on a stiff bar
u_give_mm_per_n = 0.0002
off_centre_mm = 1.0        # the load hangs at most this far from midspan
"""


def load_bench(path: Path) -> HandBench:
    """Read and check a bench file; ConfigurationError names the file, the key and what to do."""
    return validated(HandBench, read_toml(path), path)
