"""The common form of results of the gauge and of the hand bench: a kind, and fields that are plain values.

>>> @dataclass(frozen=True, slots=True)
... class Found(ResultForm):
...     shaft: int
...     curve_thou: tuple[float, ...]
>>> Found(7, (500.2, 0.1)).as_dict()
{'shaft': 7, 'curve_thou': (500.2, 0.1)}
"""

from dataclasses import dataclass, fields
from enum import StrEnum


class ResultKind(StrEnum):
    """Instrument of a result, LISTED for one of a list made elsewhere, or UNMEASURED for a run that gave none."""

    GAUGE = "gauge"
    HAND_BENCH = "hand bench"
    LISTED = "listed"
    UNMEASURED = "unmeasured"


@dataclass(frozen=True, slots=True)
class ResultForm:
    """A result whose fields are numbers, words, None, or tuples of these."""

    def as_dict(self) -> dict[str, object]:
        """Return the fields as plain values.

        Returns
        -------
        dict
            Value of each field by its name, in the order of the fields.
        """
        return {field.name: getattr(self, field.name) for field in fields(self)}
