"""What a verdict is made by besides the result: the bands, the crack limit, and the role of the shaft.

It is kept with every verdict, so that a later evaluation of the same readings judges by the same rules: a check
standard stays one, and what a night took for cracked is not sold by the next recompute.
"""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Self

from midspan.decision.bands import Bands


@dataclass(frozen=True, slots=True)
class Basis:
    """Rules of one verdict; each is None where the verdict was made without it.

    `bands` is the content of a bands file, `standard` the name of the check standard that the shaft is, with its
    assigned value; `night` is the run of sorting whose plan set the rules, `person` who vouched for the shaft.

    >>> basis = Basis(crack_hysteresis_pct=1.5)
    >>> Basis.from_json(basis.as_json()) == basis
    True
    """

    bands: Mapping[str, object] | None = None
    crack_hysteresis_pct: float | None = None
    standard: str | None = None
    assigned_thou: float | None = None
    u_assigned_thou: float | None = None
    night: int | None = None
    person: str | None = None

    def as_json(self) -> str:
        """Return the text that the store keeps, the same for the same rules."""
        return json.dumps(asdict(self), sort_keys=True)

    @classmethod
    def from_json(cls, text: str) -> Self:
        """Return the basis again from what `as_json` gave."""
        known = json.loads(text)
        return cls(**{name: known.get(name) for name in cls.__slots__})


def basis_of_bands(bands: Bands | None) -> Basis:
    """Return the basis of a shaft that is judged by bands alone."""
    return Basis(bands=None if bands is None else content_of(bands))


def completed(known: Basis, named: Basis) -> Basis:
    """Return what a verdict was made by with the bands named now, and what the plan named now adds to it.

    What a night or a person judged by stays: only a verdict by bands alone lacks a plan.
    """
    if (
        known.night is None
        and known.person is None
        and known.standard is None
        and named.crack_hysteresis_pct is not None
    ):
        return named
    return replace(known, bands=named.bands)


def content_of(bands: Bands) -> Mapping[str, object]:
    """Return bands as they are kept; a default that is spelled out is not always a valid choice."""
    content: Mapping[str, object] = bands.model_dump(mode="json", exclude_unset=True)
    return content
