"""The carriage on its screw: where the head is when the press's rotor is at a step."""

import math

MICROSTEPS = 16  # of a full step


class Carriage:
    """Carriage between the flanks of its nut; `head_mm` is where it is, mm below home along the screw.

    It stays on its flank while the force on the head is within `stays_above_n` and `stays_below_n`.

    The counterweight pulls the carriage up and the shaft pushes it up. Where both together are stronger than the drag
    of rail and nut, it lies on the nut's lower flank; where they are weaker it stays between the flanks until the nut
    takes it along.
    """

    def __init__(self, truths: dict) -> None:
        self._steps_per_mm = truths["press_steps_per_mm"]
        self._longer = 1 + truths["press_scale_error"]
        self._period_mm, self._periodic_mm = truths["screw_lead_mm"], truths["screw_periodic_mm"]
        self._phase = math.radians(truths["screw_periodic_deg"])
        self._microstep_mm, self._step_mm = truths["microstep_mm"], MICROSTEPS / truths["press_steps_per_mm"]
        self._lift_n, self._drag_n, self._play_mm = truths["lift_n"], truths["drag_n"], truths["backlash_mm"]
        self.head_mm = 0.0
        self.stays_above_n = self.stays_below_n = 0.0

    def carry(self, press: int, force_n: float, warmth: float) -> None:
        """Carry the head with the nut; `warmth` is by what the screw is longer than at its calibration, as a factor."""
        nut = press / self._steps_per_mm * self._longer * warmth
        phase = 2 * math.pi * nut / self._period_mm + self._phase
        departure = self._periodic_mm * math.sin(phase)
        if self._microstep_mm:
            departure += self._microstep_mm * math.sin(2 * math.pi * nut / self._step_mm)
        nut += departure
        upward_n, beyond = self._lift_n + force_n, 1e9
        if upward_n > self._drag_n:
            self.head_mm = nut
            self.stays_above_n, self.stays_below_n = self._drag_n - self._lift_n, beyond
        elif upward_n < -self._drag_n:
            self.head_mm = nut + self._play_mm
            self.stays_above_n, self.stays_below_n = -beyond, -self._drag_n - self._lift_n
        else:
            self.head_mm = min(max(self.head_mm, nut), nut + self._play_mm)
            self.stays_above_n, self.stays_below_n = -self._drag_n - self._lift_n, self._drag_n - self._lift_n
