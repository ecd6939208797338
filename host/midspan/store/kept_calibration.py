"""Keep a calibration of a gauge or the description of a hand bench as it was when results were made by it.

Both are stored under the id that results name. Content stored by older versions may lack values or have others, so it
is kept as plain sections and turned into a Calibration or HandBench only on request.

>>> from midspan.measurement.calibration import EXAMPLE
>>> kept = KeptCalibration(EXAMPLE)
>>> kept.id, kept.gauge, kept.lead_mm, kept.values["span.span_mm"]
('example', 'rehearsal', 8.0, 711.2)
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from midspan.base.config import validated
from midspan.hand_bench.bench import HandBench
from midspan.measurement.calibration import Calibration

OWN_NAMES = ("calibration", "bench")  # sections of names and dates
NO_VALUES = (*OWN_NAMES, "cycle")  # sections on which no result depends
Sections = Mapping[str, Mapping[str, object]]


@dataclass(frozen=True, slots=True)
class KeptCalibration:
    """Content of a calibration file or a hand bench file.

    Parameters
    ----------
    sections : Mapping[str, Mapping[str, object]]
        Values by section and key, as in the file.
    """

    sections: Sections

    @classmethod
    def of(cls, calibration: Calibration) -> Self:
        """Return the content of a calibration without its defaults, since a default need not be a valid choice.

        Parameters
        ----------
        calibration : Calibration
            Calibration of a gauge.

        Returns
        -------
        Self
            Its content.
        """
        return cls(calibration.model_dump(mode="json", exclude_unset=True))

    @classmethod
    def of_bench(cls, bench: HandBench) -> Self:
        """Return the content of a hand bench to keep.

        Parameters
        ----------
        bench : HandBench
            Hand bench.

        Returns
        -------
        Self
            Its content.
        """
        return cls(bench.content())

    @classmethod
    def from_text(cls, text: str) -> Self:
        """Return the content stored in a row.

        Parameters
        ----------
        text : str
            JSON made by `as_text`.

        Returns
        -------
        Self
            The content.
        """
        return cls(json.loads(text))

    def as_text(self) -> str:
        """Return the content as JSON, the same text for the same content.

        Returns
        -------
        str
            JSON with sorted keys.
        """
        return json.dumps(self.sections, sort_keys=True)

    @property
    def id(self) -> str:
        """Id by which results name the calibration."""
        (name,) = (self.sections[section]["id"] for section in OWN_NAMES if section in self.sections)
        return str(name)

    @property
    def gauge(self) -> str | None:
        """Name of the gauge, None for a hand bench."""
        name = self.sections.get("calibration", {}).get("gauge")
        return name if isinstance(name, str) else None

    @property
    def values(self) -> dict[str, object]:
        """Values that results depend on, as "section.key"; names, dates and the cycle are left out."""
        made_by = {name: section for name, section in self.sections.items() if name not in NO_VALUES}
        return {f"{name}.{key}": value for name, section in made_by.items() for key, value in section.items()}

    @property
    def lead_mm(self) -> float | None:
        """Travel of a turn of the screw, mm; None for a hand bench or if unknown."""
        mm_per_step, steps = self.number("travel.mm_per_step"), self.number("travel.steps_per_screw_turn")
        return None if mm_per_step is None or steps is None else mm_per_step * steps

    def number(self, name: str) -> float | None:
        """Return a value if it is a number.

        Parameters
        ----------
        name : str
            "section.key".

        Returns
        -------
        float | None
            The number, None if the value is missing or no number.

        Examples
        --------
        >>> kept = KeptCalibration({"span": {"span_mm": 711.2, "certificate": "C1"}})
        >>> kept.number("span.span_mm"), kept.number("span.certificate")
        (711.2, None)
        """
        value = self.values.get(name)
        return value if isinstance(value, int | float) else None

    def calibration(self, place: Path) -> Calibration:
        """Return the calibration of a gauge.

        Parameters
        ----------
        place : Path
            Place to name in an error.

        Returns
        -------
        Calibration
            The calibration.

        Raises
        ------
        ConfigurationError
            The content is not a valid calibration.
        """
        return validated(Calibration, self.sections, place)

    def bench(self, place: Path) -> HandBench:
        """Return the hand bench.

        Parameters
        ----------
        place : Path
            Place to name in an error.

        Returns
        -------
        HandBench
            The hand bench.

        Raises
        ------
        ConfigurationError
            The content is not a valid hand bench.
        """
        return validated(HandBench, self.sections, place)
