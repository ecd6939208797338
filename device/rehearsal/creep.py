"""Creep of a shaft's material while it is held bent."""

import math


class ShaftCreep:
    """A standard linear solid in a shaft that turns: part `creep` of the bend follows with the time constant `creep_s`.

    `down_mm` is what has crept in the direction of the press. What creeps turns with the shaft, so a shaft that is
    turning hardly creeps, and one that is held does.
    """

    def __init__(self, creep: float, creep_s: float) -> None:
        self.creep, self._creep_s = creep, creep_s
        self.down_mm = self._aside_mm = 0.0

    def follow(self, deflection_mm: float, seconds: float, radians: float) -> None:
        """Turn the shaft, then hold it bent for a time."""
        down, aside = self.down_mm, self._aside_mm
        if radians:
            cosine, sine = math.cos(radians), math.sin(radians)
            down, aside = down * cosine - aside * sine, down * sine + aside * cosine
        left = 1 / (1 + seconds / self._creep_s)  # as good as the exponential, over some milliseconds
        full = self.creep * deflection_mm
        self.down_mm, self._aside_mm = full + (down - full) * left, aside * left
