"""What a result of the gauge and one of the hand bench have in common: the way to plain values and back.

>>> @dataclass(frozen=True, slots=True)
... class Found(ResultForm):
...     shaft: int
...     curve_thou: tuple[float, ...]
>>> found = Found(7, (500.2, 0.1))
>>> found.as_dict()
{'shaft': 7, 'curve_thou': (500.2, 0.1)}
>>> Found.from_dict({"shaft": 7, "curve_thou": [500.2, 0.1]}) == found
True
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Self

from midspan.errors import StoreError


@dataclass(frozen=True, slots=True)
class ResultForm:
    """A result whose fields are numbers, words, None, or tuples of these."""

    def as_dict(self) -> dict[str, Any]:
        """Plain values by field, ready for JSON."""
        return {field.name: getattr(self, field.name) for field in fields(self)}

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> Self:
        """The result again from what `as_dict` gave and JSON kept.

        Raises StoreError when the fields are not those of this version.
        """
        foreign = values.keys() ^ {field.name for field in fields(cls)}
        if foreign:
            raise StoreError(
                f"the result of shaft {values.get('shaft')} has the form of another Midspan "
                f"({', '.join(sorted(foreign))}); make it again from its readings"
            )
        return cls(**{name: tuple(value) if isinstance(value, list) else value for name, value in values.items()})
