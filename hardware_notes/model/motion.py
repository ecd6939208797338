"""How the groups of pieces move, and by how much they are moved when overlaps are looked for."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from build123d import Location

STEP_MM, STEP_DEG = 1.0, 2.0  # at most, between two places that are looked at


@dataclass(frozen=True)
class Motion:
    """A motion of the machine by a number from `low` to `high`, mm or degrees; 0 is where it is drawn.

    `carry` returns where each group that takes part has gone, as seen from where it is drawn.
    """

    name: str
    low: float
    high: float
    step: float
    carry: Callable[[float], dict[str, Location]]

    def values(self) -> Iterator[float]:
        """Yield the numbers that are looked at: both ends, and between them no step longer than `step`.

        >>> list(Motion("lid", 0, 3, 2, lambda _: {}).values())
        [0.0, 1.5, 3.0]
        """
        steps = max(1, -int(-(self.high - self.low) // self.step))
        for i in range(steps + 1):
            yield self.low + (self.high - self.low) * i / steps


def turned_about_x(y: float, z: float, angle_deg: float) -> Location:
    """Return the rotation about an axis along x through (y, z); positive lifts what lies to the front of it."""
    return Location((0, y, z)) * Location((0, 0, 0), (angle_deg, 0, 0)) * Location((0, -y, -z))
