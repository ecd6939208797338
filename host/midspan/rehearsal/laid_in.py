"""Shafts that a person lays into the simulated gauge one by one: the demonstration's stock, and check standards.

The shaft of a number is the same in every session, so a shaft that is measured again is the same shaft.

>>> stock_number(1), stock_number(36), stock_number(37), stock_number(49)
(1, 36, 1, 13)
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from midspan.rehearsal import scenario

SEED = 7
FIRST_STANDARD = 1001  # own number of the first check standard, above those of the stock


def stock_number(shaft: int) -> int:
    """Return which shaft of the demonstration's stock is laid in under a number.

    Parameters
    ----------
    shaft : int
        Number that the host gives it, from 1.

    Returns
    -------
    int
        Its own number, from 1; after the last shaft of the stock the first comes again.
    """
    return (shaft - 1) % scenario.EXAMPLE_SHAFTS + 1


class LaidIn:
    """A hand that lays shafts into a simulated gauge.

    Parameters
    ----------
    folder : Path
        Folder of the simulation; the file that the simulated board reads is made in it.
    standards_thou : Mapping[str, float]
        True spine of each check standard by its name, thou.
    """

    def __init__(self, folder: Path, standards_thou: Mapping[str, float]) -> None:
        self._file = folder / "laid-in"
        self._standards = {name: FIRST_STANDARD + i for i, name in enumerate(standards_thou)}
        self._spines = dict(standards_thou)

    def scenario(self) -> dict[str, Any]:
        """Return the scenario of the gauge in which these shafts are laid.

        Returns
        -------
        dict[str, Any]
            Scenario for `Rehearsal`.
        """
        given = scenario.rehearsal(scenario.shafts(scenario.EXAMPLE_SHAFTS, SEED), SEED)
        bars = [{"number": number, "spine_thou": self._spines[name]} for name, number in self._standards.items()]
        hand = {"places": 0, "guards": 0, "hopper": [], "laid_in": str(self._file.resolve())}
        return given | {"shafts": [*given["shafts"], *bars], "feeder": hand}

    def lay_in(self, shaft: int, standard: str | None) -> None:
        """Lay a shaft or a check standard in.

        Parameters
        ----------
        shaft : int
            Number that the host gives it.
        standard : str | None
            Name of the check standard that it is, None for a shaft of the stock.
        """
        own = stock_number(shaft) if standard is None else self._standards[standard]
        self._file.write_text(str(own), encoding="ascii")
