"""Nominal sizes of unmarked shafts, from a table that the user keeps, with the probability of each.

    [[size]]
    name = "500"
    spine_thou = [490.0, 515.0]

A size takes the spines of its band, low end included, high end not. Gaps may be left between sizes; a spine in a gap
has no nominal size.

>>> table = Sizes.model_validate({"size": [
...     {"name": "light", "spine_thou": [500, 550]}, {"name": "heavy", "spine_thou": [450, 500]}]})
>>> [(size.name, round(size.probability, 3)) for size in table.likely(499.0, 0.5)]
[('heavy', 0.977), ('light', 0.023)]
"""

import math
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Annotated

from pydantic import Field, model_validator
from scipy.special import stdtr

from midspan.base.config import ARRAY, Section, read_toml, validated
from midspan.decision.bands import Spine

WORTH_NAMING = 0.001  # smaller probabilities are left out
MANY = 1e6  # degrees of freedom with the same quantiles as infinitely many
BETWEEN = "none of the sizes"


@dataclass(frozen=True, slots=True)
class Likely:
    """A size and the probability that the shaft is of it.

    Parameters
    ----------
    name : str
        Name of the size; BETWEEN for none of them.
    probability : float
        Probability, 0 to 1.
    """

    name: str
    probability: float


class Size(Section):
    """A nominal size: its name, and the band of spine that it is sold for.

    Parameters
    ----------
    name : str
        Name on the box.
    spine_thou : tuple[float, float]
        Low end, which belongs to the band, and high end, which does not, thou.
    """

    name: Annotated[str, Field(min_length=1, max_length=32)]
    spine_thou: Annotated[tuple[Spine, Spine], ARRAY]

    @model_validator(mode="after")
    def _has_room(self) -> "Size":
        low, high = self.spine_thou
        if low >= high:
            raise ValueError(
                f"size {self.name!r}: spine_thou runs from {low:g} to {high:g}; write the smaller value first"
            )
        return self


class Sizes(Section):
    """All sizes of a table.

    Parameters
    ----------
    size : tuple[Size, ...]
        The sizes, in any order; their bands do not overlap.
    """

    size: Annotated[tuple[Size, ...], ARRAY, Field(min_length=1)]

    @model_validator(mode="after")
    def _apart(self) -> "Sizes":
        names = [size.name for size in self.size]
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise ValueError(f"size {twice!r} is listed twice; delete one of the two")
        for below, above in pairwise(sorted(self.size, key=lambda size: size.spine_thou)):
            if above.spine_thou[0] < below.spine_thou[1]:
                raise ValueError(
                    f"sizes {below.name!r} and {above.name!r} overlap from {above.spine_thou[0]:g} to "
                    f"{min(below.spine_thou[1], above.spine_thou[1]):g} thou: a shaft there would have two names"
                )
        return self

    def likely(self, spine_thou: float, u_spine_thou: float, dof: float | None = None) -> list[Likely]:
        """Return the sizes that a shaft may be of.

        The true spine follows a t-distribution about the measured one; before the measurement every spine counted as
        equally likely. What is left of 1 lies in gaps, as BETWEEN.

        Parameters
        ----------
        spine_thou : float
            Measured static spine, thou.
        u_spine_thou : float
            Its standard uncertainty, thou.
        dof : float | None
            Its degrees of freedom; None for infinitely many.

        Returns
        -------
        list[Likely]
            Sizes worth naming, the likeliest first.

        References
        ----------
        JCGM 100:2008, annex G; JCGM 101:2008, 6.4.9.
        """
        degrees = MANY if dof is None else dof

        def below(limit: float) -> float:
            return float(stdtr(degrees, (limit - spine_thou) / max(u_spine_thou, 1e-12)))

        found = [Likely(size.name, below(size.spine_thou[1]) - below(size.spine_thou[0])) for size in self.size]
        found.append(Likely(BETWEEN, max(0.0, 1.0 - math.fsum(size.probability for size in found))))
        worth = [size for size in found if size.probability >= WORTH_NAMING]
        return sorted(worth, key=lambda size: -size.probability)


def load_sizes(path: Path) -> Sizes:
    """Read a table of sizes from a TOML file.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Sizes
        The checked table.

    Raises
    ------
    ConfigurationError
        The file cannot be read, or sizes overlap, repeat or run backwards.
    """
    return validated(Sizes, read_toml(path), path)
