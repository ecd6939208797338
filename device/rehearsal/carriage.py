"""The carriage on its screw: where the head is when the press's rotor is at a step."""

import math

MICROSTEPS = 16  # of a full step


class Carriage:
    """Carriage between the flanks of its nut; `head_mm` is where it is, mm below home along the screw.

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
        self._flank: "int | None" = None
        self.head_mm = 0.0

    def turns_over(self, force_n: float) -> bool:
        """Return True if a force on the head chooses another flank than the carriage was last carried on."""
        return self._chosen(force_n) != self._flank

    def carry(self, press: int, force_n: float, warmth: float) -> None:
        """Carry the head with the nut; `warmth` is by what the screw is longer than at its calibration, as a factor."""
        nut = press / self._steps_per_mm * self._longer * warmth
        phase = 2 * math.pi * nut / self._period_mm + self._phase
        departure = self._periodic_mm * math.sin(phase)
        if self._microstep_mm:
            departure += self._microstep_mm * math.sin(2 * math.pi * nut / self._step_mm)
        nut += departure
        self._flank = self._chosen(force_n)
        if self._flank > 0:
            self.head_mm = nut
        elif self._flank < 0:
            self.head_mm = nut + self._play_mm
        else:
            self.head_mm = min(max(self.head_mm, nut), nut + self._play_mm)

    def _chosen(self, force_n: float) -> int:
        """Return 1 for the lower flank, on which the carriage hangs up, -1 for the upper one, 0 for neither."""
        upward_n = self._lift_n + force_n
        return 1 if upward_n > self._drag_n else -1 if upward_n < -self._drag_n else 0
