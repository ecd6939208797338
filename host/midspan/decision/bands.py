"""The bands file: which shafts are wanted, and how sure a verdict must be.

A bin takes the shafts whose spine lies in its band, low end included, high end not, so that bins can adjoin
without a gap or a tie. Its other limits are upper limits and optional.

>>> bands = Bands.model_validate(EXAMPLE)
>>> bands.bin_of(505.0).name
'510'
>>> [(stretch.low_thou, stretch.high_thou) for stretch in bands.stretches]
[(495.0, 515.0)]
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, model_validator

from midspan.base.config import ARRAY, Section, read_toml, validated

# From the stiffest to the softest shaft anyone shoots is 150 to 2000 thou (common practice, no source); beyond
# these limits a spine is a typing error or in another unit.
Spine = Annotated[float, Field(ge=50, le=5000)]
EXAMPLE = {
    "rule": {"coverage_factor": 2.0},
    "bin": [
        {"name": "500", "spine_thou": [495.0, 505.0], "spread_max_thou": 6.0},
        {"name": "510", "spine_thou": [505.0, 515.0], "spread_max_thou": 6.0},
    ],
}


Kind = Literal["guarded both ways", "guarded acceptance", "guarded rejection", "simple"]


class DecisionRule(Section):
    """How sure a verdict must be, by JCGM 106:2012, clause 8. The guard band is `guard` times U = k u.

    * ``guarded both ways``: accepted when inside a limit by the guard band, rejected when beyond it by as much,
      doubtful between: measured again, or sorted by hand. The only rule that makes a value doubtful.
    * ``guarded acceptance``: accepted when inside by the guard band, else rejected. Protects who gets the shaft.
    * ``guarded rejection``: rejected when beyond by the guard band, else accepted. Protects who made the shaft.
    * ``simple``: the value alone decides; both share the risk.

    >>> DecisionRule(kind="guarded acceptance", guard=1.5).margins
    (1.5, -1.5)
    """

    kind: Kind = "guarded both ways"
    guard: Annotated[float, Field(ge=0, le=4)] = 1.0
    coverage_factor: Annotated[float, Field(ge=1, le=4)] = 2.0

    @property
    def margins(self) -> tuple[float, float]:
        """In multiples of U: how far inside a limit a value is accepted, and how far beyond it is rejected."""
        w = self.guard
        return {
            "guarded both ways": (w, w),
            "guarded acceptance": (w, -w),
            "guarded rejection": (-w, w),
            "simple": (0.0, 0.0),
        }[self.kind]

    @property
    def leaves_doubt(self) -> bool:
        """Whether a value near a limit is neither accepted nor rejected."""
        return self.kind == "guarded both ways"

    @model_validator(mode="after")
    def _guard_has_a_use(self) -> "DecisionRule":
        if self.kind == "simple" and "guard" in self.model_fields_set:
            raise ValueError("rule.guard: a simple rule has no guard band; remove it, or choose a guarded kind")
        return self


class Bin(Section):
    """One class of shafts: a band of spine, and what its shafts may have at most."""

    name: Annotated[str, Field(min_length=1, max_length=32)]
    spine_thou: Annotated[tuple[Spine, Spine], ARRAY]
    # The least that can be asked for is finer than any gauge resolves: below it a limit is in another unit.
    spread_max_thou: Annotated[float, Field(ge=0.01, le=500)] | None = None
    runout_max_thou: Annotated[float, Field(ge=0.01, le=1000)] | None = None
    hysteresis_max_pct: Annotated[float, Field(ge=0.01, le=100)] | None = None

    @property
    def low_thou(self) -> float:
        """Lower end of the band, part of it."""
        return self.spine_thou[0]

    @property
    def high_thou(self) -> float:
        """Upper end of the band, not part of it."""
        return self.spine_thou[1]

    @model_validator(mode="after")
    def _has_room(self) -> "Bin":
        if self.low_thou >= self.high_thou:
            raise ValueError(
                f"bin {self.name!r}: its spine_thou runs from {self.low_thou:g} to {self.high_thou:g} and holds no "
                "shaft; write the smaller number first"
            )
        return self


@dataclass(frozen=True, slots=True)
class Stretch:
    """Adjoining bins taken together: only beyond its two ends does a shaft belong to no bin."""

    low_thou: float
    high_thou: float


class Bands(Section):
    """All bins of a bands file, in any order, and the rule that goes with them."""

    rule: DecisionRule = DecisionRule()
    bin: Annotated[tuple[Bin, ...], ARRAY, Field(min_length=1)]

    @model_validator(mode="after")
    def _are_apart(self) -> "Bands":
        for low, high in pairwise(self.in_order):
            if high.low_thou < low.high_thou:
                raise ValueError(
                    f"bins {low.name!r} and {high.name!r} overlap: {low.name!r} ends at {low.high_thou:g} thou, "
                    f"{high.name!r} starts at {high.low_thou:g}; move one of the ends"
                )
        names = [one.name for one in self.bin]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f"bin {name!r} stands there twice; give each a name of its own")
        return self

    @property
    def in_order(self) -> list[Bin]:
        """Bins from the stiffest band to the softest."""
        return sorted(self.bin, key=lambda one: one.spine_thou)

    @property
    def stretches(self) -> list[Stretch]:
        """The bands with adjoining bins joined, from the stiffest to the softest."""
        return list(_joined(self.in_order))

    def bin_of(self, spine_thou: float) -> Bin | None:
        """The bin whose band holds this spine, None when none does."""
        return next((one for one in self.bin if one.low_thou <= spine_thou < one.high_thou), None)


def _joined(bins: list[Bin]) -> Iterator[Stretch]:
    low, high = bins[0].spine_thou
    for one in bins[1:]:
        if one.low_thou != high:
            yield Stretch(low, high)
            low = one.low_thou
        high = one.high_thou
    yield Stretch(low, high)


def load_bands(path: Path) -> Bands:
    """The checked contents of a bands file.

    Raises ConfigurationError naming the file and the key when it cannot be read, or a key is missing, misspelt
    or absurd, or two bins overlap.
    """
    return validated(Bands, read_toml(path), path)
