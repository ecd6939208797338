"""How a measurement came into the store."""

from enum import StrEnum


class Origin(StrEnum):
    """What a measurement knew of those that the store had of its shaft."""

    MEASURED = "measured"  # all of them: it was stored as it was measured
    IMPORTED = "imported"  # none: it came from an archive, or a gauge had kept it for another host
