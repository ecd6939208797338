"""A calibration of a gauge, or what a hand bench is, as it was when results were made under it.

Both are kept under the id that results name. Content of older Midspans may lack values or have others, so nothing here
takes it for a whole file until somebody asks for one.

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

OWN_NAMES = ("calibration", "bench")  # sections of names and dates, by which no result is made
Sections = Mapping[str, Mapping[str, object]]


@dataclass(frozen=True, slots=True)
class KeptCalibration:
    """What a file of a calibration or of a hand bench said, by section and key."""

    sections: Sections

    @classmethod
    def of(cls, calibration: Calibration) -> Self:
        """Return what is kept of a calibration of a gauge: a default is left out, for it may not be a valid choice."""
        return cls(calibration.model_dump(mode="json", exclude_unset=True))

    @classmethod
    def of_bench(cls, bench: HandBench) -> Self:
        """Return what is kept of a hand bench."""
        return cls(bench.model_dump(mode="json"))

    @classmethod
    def from_text(cls, text: str) -> Self:
        """Return it again from what a row of the store has."""
        return cls(json.loads(text))

    def as_text(self) -> str:
        """Return what a row of the store has, the same for the same content."""
        return json.dumps(self.sections, sort_keys=True)

    @property
    def id(self) -> str:
        """The name by which results say what they were made under."""
        (name,) = (self.sections[section]["id"] for section in OWN_NAMES if section in self.sections)
        return str(name)

    @property
    def gauge(self) -> str | None:
        """Name of the gauge, None for a hand bench."""
        name = self.sections.get("calibration", {}).get("gauge")
        return name if isinstance(name, str) else None

    @property
    def values(self) -> dict[str, object]:
        """All that results are made by, as "section.key"; the name and the dates of it are no such values."""
        made_by = {name: section for name, section in self.sections.items() if name not in OWN_NAMES}
        return {f"{name}.{key}": value for name, section in made_by.items() for key, value in section.items()}

    @property
    def lead_mm(self) -> float | None:
        """Travel a turn of the screw, None where there is none or it is not known."""
        mm_per_step, steps = self.number("travel.mm_per_step"), self.number("travel.steps_per_screw_turn")
        return None if mm_per_step is None or steps is None else mm_per_step * steps

    def number(self, name: str) -> float | None:
        """Return a value that is a number, None where there is none."""
        value = self.values.get(name)
        return value if isinstance(value, int | float) else None

    def calibration(self, place: Path) -> Calibration:
        """Return the calibration of a gauge; ConfigurationError, with the place it is kept in, when it is none."""
        return validated(Calibration, self.sections, place)

    def bench(self, place: Path) -> HandBench:
        """Return the hand bench; ConfigurationError, with the place it is kept in, when it is none."""
        return validated(HandBench, self.sections, place)
