"""What a scale with a serial line says: its file, and one of its lines.

Scales differ in how they write a reading, so the file holds the pattern of a whole line, with named groups: `value` is
the number; `unit`, where the scale sends it, has to be one of `unit_words`; `steady`, where it sends that, is one of
`steady_words` when the pan is at rest.

>>> scale = Scale.model_validate(EXAMPLE)
>>> scale.shown("weight 312.4 grains steady")
Shown(text='312.4', steady=True)
>>> scale.shown("weight 298.1 grains moving").steady, scale.shown("hello")
(False, None)
>>> scale.shown("weight 20.2 grams steady")
Traceback (most recent call last):
midspan.errors.ReadingsError: the scale shows 'grams' where grains are meant; switch it over, or mend its file
"""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, field_validator, model_validator

from midspan.configuration import ARRAY, Section, read_toml, validated
from midspan.errors import ReadingsError
from midspan.typed_table import number_in
from midspan.weights import WeightUnit

LONGEST_LINE = 120  # signs; more without an end is noise, or the wrong speed
GROUPS = ("value", "unit", "steady")
EXAMPLE: dict[str, Any] = {
    "port": "/dev/ttyUSB0",
    "pattern": r"weight\s+(?P<value>\S+) (?P<unit>\w+) (?P<steady>\w+)",
    "unit": "grains",
    "unit_words": ["grains"],
    "steady_words": ["steady"],
    "overload_words": ["too heavy"],
}
Words = Annotated[tuple[Annotated[str, Field(min_length=1)], ...], ARRAY]


@dataclass(frozen=True, slots=True)
class Shown:
    """A reading: the number as it was sent, and whether the pan was at rest."""

    text: str
    steady: bool


class Scale(Section):
    """A scale's file. `equal` steady readings in a row make a weight; after `wait_s` without them it is given up."""

    port: Annotated[str, Field(min_length=1)]
    baud: Annotated[int, Field(ge=300, le=1_000_000)] = 9600
    ask: str = ""  # sent before each reading, for a scale that speaks only when asked
    pattern: str
    unit: str
    unit_words: Words = ()
    steady_words: Words = ()
    overload_words: Words = ()
    equal: Annotated[int, Field(ge=2, le=50)] = 3
    wait_s: Annotated[float, Field(ge=1, le=300)] = 20.0

    @field_validator("pattern")
    @classmethod
    def _names_a_value(cls, pattern: str) -> str:
        try:
            groups = re.compile(pattern).groupindex
        except (re.error, OverflowError, RecursionError) as error:
            raise ValueError(f"pattern: is no regular expression ({error}); mend it") from error
        strange = [name for name in groups if name not in GROUPS]
        if strange or "value" not in groups:
            raise ValueError(
                f"pattern: its groups are {', '.join(groups) or 'none'}; it needs value, and may have unit and steady"
            )
        return pattern

    @field_validator("unit")
    @classmethod
    def _is_a_unit(cls, unit: str) -> str:
        if unit not in set(WeightUnit):
            raise ValueError(f"unit = {unit!r}: say {' or '.join(WeightUnit)}, as the scale is set")
        return unit

    @model_validator(mode="after")
    def _words_have_groups(self) -> "Scale":
        groups = re.compile(self.pattern).groupindex
        for name in ("unit", "steady"):
            if (name in groups) != bool(getattr(self, f"{name}_words")):
                raise ValueError(
                    f"{name}_words: a group {name} in the pattern and its words go together; add the other"
                )
        return self

    def shown(self, line: str) -> Shown | None:
        """What a line says; None when it is none of the scale's.

        Raises ReadingsError when it says overload or another unit.
        """
        if any(word in line for word in self.overload_words):
            raise ReadingsError(f"the scale is overloaded ({line.strip()!r}); take everything off")
        found = re.fullmatch(self.pattern, line.strip()) if len(line) <= LONGEST_LINE else None
        if found is None or not _is_number(found["value"]):
            return None
        groups = found.groupdict()
        if self.unit_words and groups["unit"] not in self.unit_words:
            raise ReadingsError(
                f"the scale shows {groups['unit'] or 'no unit'!r} where {self.unit} are meant; switch it over, or mend "
                "its file"
            )
        return Shown(found["value"].strip(), not self.steady_words or groups["steady"] in self.steady_words)


def _is_number(text: str | None) -> bool:
    try:
        number_in(text or "", "")
    except ReadingsError:
        return False
    return True


def load_scale(path: Path) -> Scale:
    """Read and check a scale's file; ConfigurationError names the file, the key and what to do."""
    return validated(Scale, read_toml(path), path)
