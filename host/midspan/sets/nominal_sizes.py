"""Nominal sizes of unmarked shafts, from a table that the user keeps: which one, and how likely each neighbour is.

    [[size]]
    name = "500"
    spine_thou = [490.0, 515.0]

A size takes the spines of its band, low end included, high end not. Gaps may be left between sizes; what lies there has
no nominal size.

>>> table = Sizes.model_validate({"size": [
...     {"name": "light", "spine_thou": [500, 550]}, {"name": "heavy", "spine_thou": [450, 500]}]})
>>> [(one.name, round(one.probability, 3)) for one in table.likely(499.0, 0.5)]
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

WORTH_NAMING = 0.001  # a probability below a thousandth is left out
MANY = 1e6  # degrees of freedom that are as good as infinitely many
BETWEEN = "none of the sizes"


@dataclass(frozen=True, slots=True)
class Likely:
    """A size, or BETWEEN for none of them, and the probability that the shaft is of it."""

    name: str
    probability: float


class Size(Section):
    """A nominal size: its name, and the band of spine that it is sold for."""

    name: Annotated[str, Field(min_length=1, max_length=32)]
    spine_thou: Annotated[tuple[Spine, Spine], ARRAY]

    @model_validator(mode="after")
    def _has_room(self) -> "Size":
        low, high = self.spine_thou
        if low >= high:
            raise ValueError(
                f"size {self.name!r}: its spine_thou runs from {low:g} to {high:g}; write the smaller first"
            )
        return self


class Sizes(Section):
    """All sizes, in any order."""

    size: Annotated[tuple[Size, ...], ARRAY, Field(min_length=1)]

    @model_validator(mode="after")
    def _apart(self) -> "Sizes":
        names = [one.name for one in self.size]
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise ValueError(f"size {twice!r} stands there twice; keep one of them")
        for below, above in pairwise(sorted(self.size, key=lambda one: one.spine_thou)):
            if above.spine_thou[0] < below.spine_thou[1]:
                raise ValueError(
                    f"sizes {below.name!r} and {above.name!r} overlap from {above.spine_thou[0]:g} to "
                    f"{min(below.spine_thou[1], above.spine_thou[1]):g} thou: a shaft there would have two names"
                )
        return self

    def likely(self, spine_thou: float, u_spine_thou: float, dof: float | None = None) -> list[Likely]:
        """Sizes that the shaft may be of, the likeliest first; the rest of 1, where worth naming, lies in gaps.

        The spine is anywhere by a t-distribution about the measured one (JCGM 100:2008, annex G; JCGM 101:2008, 6.4.9);
        every spine was taken to be as likely before it was measured. `dof` None counts as infinite.
        """
        degrees = MANY if dof is None else dof

        def below(limit: float) -> float:
            return float(stdtr(degrees, (limit - spine_thou) / max(u_spine_thou, 1e-12)))

        found = [Likely(one.name, below(one.spine_thou[1]) - below(one.spine_thou[0])) for one in self.size]
        found.append(Likely(BETWEEN, max(0.0, 1.0 - math.fsum(one.probability for one in found))))
        worth = [one for one in found if one.probability >= WORTH_NAMING]
        return sorted(worth, key=lambda one: -one.probability)


def load_sizes(path: Path) -> Sizes:
    """The table of a TOML file; ConfigurationError when sizes overlap or mean nothing."""
    return validated(Sizes, read_toml(path), path)
