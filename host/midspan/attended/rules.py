"""What a session judges by: bands, check standards with their intervals, and who measures.

>>> from midspan.decision.bands import EXAMPLE, Bands
>>> SessionRules(Bands.model_validate(EXAMPLE), "c1", operator="Ann").as_json()[:28]
'{"attended": true, "operator'
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field

from midspan.decision.bands import Bands
from midspan.decision.basis import content_of
from midspan.sorting.plan import Checks, Standard


@dataclass(frozen=True, slots=True)
class SessionRules:
    """Rules of a session.

    Parameters
    ----------
    bands : Bands
        Limits by which shafts are judged.
    calibration : str
        Id of the calibration in use.
    standard : tuple of Standard
        Check standards, empty for none.
    checks : Checks
        When they are measured.
    operator : str
        Who measures, empty where unknown.
    """

    bands: Bands
    calibration: str
    standard: tuple[Standard, ...] = ()
    checks: Checks = field(default_factory=Checks)
    operator: str = ""

    def as_json(self) -> str:
        """Return the rules as the journal keeps them.

        Returns
        -------
        str
            JSON object.
        """
        content = {
            "attended": True,
            "operator": self.operator,
            "calibration": self.calibration,
            "bands": content_of(self.bands),
            "standard": [bar.model_dump(mode="json", by_alias=True) for bar in self.standard],
            "checks": self.checks.model_dump(mode="json"),
        }
        return json.dumps(content)

    def named(self, name: str | None) -> Standard | None:
        """Return the check standard of a name.

        Parameters
        ----------
        name : str | None
            The name.

        Returns
        -------
        Standard | None
            The standard, None if these rules do not know it.
        """
        return next((bar for bar in self.standard if bar.name == name), None)
