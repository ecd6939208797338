"""The bands file: the classes of shafts wanted, and the rule for values near a limit.

A bin takes the shafts whose spine lies in its band. The low end belongs to the band and the high end does not, so bins
can adjoin without a gap or a tie. All other limits are upper limits and optional.

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

# The shafts in use lie between 150 and 2000 thou (common practice, no source). Beyond these limits a spine is a typing
# error or in another unit.
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
    """Rule for values near a limit (JCGM 106:2012, clause 8).

    A guard band is a strip beside a limit in which the uncertainty of the value leaves open on which side the shaft
    lies. It is `guard` times U wide, with U = k u, where u is the standard uncertainty of the value. The kinds differ
    in what happens to a value within it. With a limit of 505 thou and U of 0.5 thou:

    * ``guarded both ways``: accepted up to 504.5, rejected from 505.5, doubtful between, which means measure again or
      sort by hand. Only this rule makes a value doubtful.
    * ``guarded acceptance``: accepted up to 504.5, else rejected. Protects the buyer of the shaft.
    * ``guarded rejection``: rejected from 505.5, else accepted. Protects the maker of the shaft.
    * ``simple``: accepted below 505, else rejected; buyer and maker share the risk.

    Parameters
    ----------
    kind : str
        Name of the rule, as above.
    guard : float
        Width of the guard band, in multiples of U. It has no effect on a ``simple`` rule and must not be given there.
    coverage_factor : float
        Coverage factor k of U = k u.

    References
    ----------
    JCGM 106:2012, 8.2 (simple acceptance), 8.3.2 (guarded acceptance), 8.3.3 (guarded rejection).

    Examples
    --------
    >>> DecisionRule(kind="guarded acceptance", guard=1.5).margins
    (1.5, -1.5)
    """

    kind: Kind = "guarded both ways"
    guard: Annotated[float, Field(ge=0, le=4)] = 1.0
    coverage_factor: Annotated[float, Field(ge=1, le=4)] = 2.0

    @property
    def margins(self) -> tuple[float, float]:
        """Distance inside a limit to accept and beyond it to reject, in multiples of U; below 0 the other way."""
        w = self.guard
        return {
            "guarded both ways": (w, w),
            "guarded acceptance": (w, -w),
            "guarded rejection": (-w, w),
            "simple": (0.0, 0.0),
        }[self.kind]

    @property
    def leaves_doubt(self) -> bool:
        """True if a value near a limit is neither accepted nor rejected."""
        return self.kind == "guarded both ways"

    @model_validator(mode="after")
    def _guard_has_a_use(self) -> "DecisionRule":
        """Return the rule, or raise ValueError if a simple rule has a guard band."""
        if self.kind == "simple" and "guard" in self.model_fields_set:
            raise ValueError("rule.guard: a simple rule has no guard band; remove it, or choose a guarded kind")
        return self


class Bin(Section):
    """One class of shafts: a band of spine, and upper limits on other quantities; None where there is no limit.

    One thou is a thousandth of an inch, 0.0254 mm. Results give runout in mm, a bin limits it in thou.

    Parameters
    ----------
    name : str
        Name of the bin.
    spine_thou : tuple of float
        Low and high end of the band, thou.
    spread_max_thou : float, optional
        Largest spread of spine around the shaft, thou.
    runout_max_thou : float, optional
        Largest total indicator reading, thou.
    hysteresis_max_pct : float, optional
        Largest hysteresis, %.
    """

    name: Annotated[str, Field(min_length=1, max_length=32)]
    spine_thou: Annotated[tuple[Spine, Spine], ARRAY]
    # The smallest limits allowed are finer than any gauge resolves: a smaller number is in another unit.
    spread_max_thou: Annotated[float, Field(ge=0.01, le=500)] | None = None
    runout_max_thou: Annotated[float, Field(ge=0.01, le=1000)] | None = None
    hysteresis_max_pct: Annotated[float, Field(ge=0.01, le=100)] | None = None

    @property
    def low_thou(self) -> float:
        """Low end of the band, thou; it belongs to the band."""
        return self.spine_thou[0]

    @property
    def high_thou(self) -> float:
        """High end of the band, thou; it does not belong to the band."""
        return self.spine_thou[1]

    @model_validator(mode="after")
    def _has_room(self) -> "Bin":
        """Return the bin, or raise ValueError if its band is empty."""
        if self.low_thou >= self.high_thou:
            raise ValueError(
                f"bin {self.name!r}: spine_thou runs from {self.low_thou:g} to {self.high_thou:g}, so no shaft "
                "fits; write the smaller number first"
            )
        return self


@dataclass(frozen=True, slots=True)
class Stretch:
    """Adjoining bins taken together: only beyond its two ends does a shaft belong to no bin.

    Parameters
    ----------
    low_thou : float
        Low end, thou; it belongs to the stretch.
    high_thou : float
        High end, thou; it does not belong to the stretch.
    """

    low_thou: float
    high_thou: float


class Bands(Section):
    """The bins of a bands file, in any order, and the decision rule for all of them.

    Parameters
    ----------
    rule : DecisionRule
        Rule for values near a limit.
    bin : tuple of Bin
        The bins, at least one; names are unique and bands do not overlap.
    """

    rule: DecisionRule = DecisionRule()
    bin: Annotated[tuple[Bin, ...], ARRAY, Field(min_length=1)]

    @model_validator(mode="after")
    def _are_apart(self) -> "Bands":
        """Return the bands, or raise ValueError if two bins overlap or have the same name."""
        for low, high in pairwise(self.in_order):
            if high.low_thou < low.high_thou:
                raise ValueError(
                    f"bins {low.name!r} and {high.name!r} overlap: {low.name!r} ends at {low.high_thou:g} thou, "
                    f"{high.name!r} begins at {high.low_thou:g}; move one of the ends"
                )
        names = [each.name for each in self.bin]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f"bin {name!r} is listed twice; give each bin its own name")
        return self

    @property
    def in_order(self) -> list[Bin]:
        """Bins from the stiffest band to the softest."""
        return sorted(self.bin, key=lambda each: each.spine_thou)

    @property
    def stretches(self) -> list[Stretch]:
        """Bands with adjoining bins joined, from the stiffest to the softest."""
        return list(_joined(self.in_order))

    def bin_of(self, spine_thou: float) -> Bin | None:
        """Return the bin whose band holds a spine.

        Parameters
        ----------
        spine_thou : float
            Static spine, thou.

        Returns
        -------
        Bin or None
            The bin, None if the spine lies in no band.
        """
        return next((each for each in self.bin if each.low_thou <= spine_thou < each.high_thou), None)


def _joined(bins: list[Bin]) -> Iterator[Stretch]:
    """Yield the bands of bins in order, each with the bins that adjoin it."""
    low, high = bins[0].spine_thou
    for following in bins[1:]:
        if following.low_thou != high:
            yield Stretch(low, high)
            low = following.low_thou
        high = following.high_thou
    yield Stretch(low, high)


def load_bands(path: Path) -> Bands:
    """Return the checked contents of a bands file.

    Parameters
    ----------
    path : Path
        TOML file.

    Returns
    -------
    Bands
        Bins that do not overlap, and the rule.

    Raises
    ------
    ConfigurationError
        The file cannot be read, a key is missing, unknown or out of range, or two bins overlap; the message names file
        and key.
    """
    return validated(Bands, read_toml(path), path)
