"""Basis of a verdict besides the result: the bands, the crack limit, and the role of the shaft.

It is stored with every verdict, so that a later evaluation of the same readings applies the same rules: a check
standard stays a check standard, and a shaft rejected for a crack is not accepted by the next recompute.
"""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Literal, Self

from midspan.decision.bands import Bands
from midspan.measurement.definition import Definition


@dataclass(frozen=True, slots=True)
class Basis:
    """Rules of one verdict; each is None if the verdict was made without it.

    Parameters
    ----------
    bands : mapping, optional
        Content of the bands file.
    crack_hysteresis_pct : float, optional
        Hysteresis above which a crack is suspected, %.
    standard : str, optional
        Name of the check standard, if the shaft is one.
    assigned_thou, u_assigned_thou : float, optional
        Assigned spine of the check standard and its standard uncertainty, thou.
    assigned_definition : str, optional
        Definition for which it is stated; None for bases of earlier versions.
    assigned_material : str, optional
        Material of the check standard.
    assigned_at_c : float, optional
        Temperature at which its value was assigned, degrees Celsius.
    night : int, optional
        Number of the sorting run whose plan set the rules.
    person : str, optional
        Name of the person who vouched for the shaft.

    Examples
    --------
    >>> basis = Basis(crack_hysteresis_pct=1.5)
    >>> Basis.from_json(basis.as_json()) == basis
    True
    """

    bands: Mapping[str, object] | None = None
    crack_hysteresis_pct: float | None = None
    standard: str | None = None
    assigned_thou: float | None = None
    u_assigned_thou: float | None = None
    assigned_definition: Definition | None = None
    assigned_material: Literal["steel", "aluminium"] | None = None
    assigned_at_c: float | None = None
    night: int | None = None
    person: str | None = None

    def as_json(self) -> str:
        """Return the basis as text for the store; equal rules give equal text.

        Returns
        -------
        str
            JSON object.
        """
        return json.dumps(asdict(self), sort_keys=True)

    @classmethod
    def from_json(cls, text: str) -> Self:
        """Return the basis from text made by `as_json`.

        Parameters
        ----------
        text : str
            JSON object; fields it lacks become None.

        Returns
        -------
        Basis
            The basis.
        """
        known = json.loads(text)
        return cls(**{name: known.get(name) for name in cls.__slots__})


def basis_of_bands(bands: Bands | None) -> Basis:
    """Return the basis of a shaft that is judged by bands alone.

    Parameters
    ----------
    bands : Bands, optional
        The bands; None if none were named.

    Returns
    -------
    Basis
        A basis with no other rule.
    """
    return Basis(bands=None if bands is None else content_of(bands))


def completed(known: Basis, named: Basis) -> Basis:
    """Return the basis of a new evaluation from that of the earlier verdict and the rules named now.

    A verdict by bands alone takes over a plan named now. A verdict of a sorting run, of a check standard or of a
    person keeps its own rules and takes over the bands only.

    Parameters
    ----------
    known : Basis
        Basis of the earlier verdict.
    named : Basis
        Rules named for the new evaluation.

    Returns
    -------
    Basis
        Basis of the new verdict.
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
    """Return bands as plain values for the store, without the defaults that the file left out.

    A default that is written out is not always a valid choice: a simple rule has no guard.

    Parameters
    ----------
    bands : Bands
        Checked bands.

    Returns
    -------
    mapping
        Content from which `Bands.model_validate` makes equal bands.
    """
    content: Mapping[str, object] = bands.model_dump(mode="json", exclude_unset=True)
    return content
