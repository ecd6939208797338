"""Random numbers that are the same under every interpreter."""

import math


class Noise:
    """Stream of random numbers for a seed: Marsaglia's xorshift of 32 bits, J. Statistical Software 8 (2003) 14."""

    def __init__(self, *seeds: int) -> None:
        self._state = 2463534242
        self._spare = 0.0
        self._has_spare = False
        for seed in seeds:
            self._state = (self._state ^ (seed * 2654435761)) & 0xFFFFFFFF or 1
            for _ in range(16):
                self.uniform()

    def uniform(self) -> float:
        """Return a number evenly distributed between 0 and 1, both excluded."""
        state = self._state
        state ^= (state << 13) & 0xFFFFFFFF
        state ^= state >> 17
        state ^= (state << 5) & 0xFFFFFFFF
        self._state = state
        return state / 4294967296

    def chance(self, probability: float) -> bool:
        """Return True with a given probability."""
        return probability > 0 and self.uniform() < probability

    def normal(self) -> float:
        """Return a number normally distributed with mean 0 and standard deviation 1 (Box and Muller)."""
        if self._has_spare:
            self._has_spare = False
            return self._spare
        radius = math.sqrt(-2 * math.log(self.uniform()))
        angle = 2 * math.pi * self.uniform()
        self._spare = radius * math.sin(angle)
        self._has_spare = True
        return radius * math.cos(angle)
