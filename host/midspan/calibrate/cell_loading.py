"""How a mass is made to push the head towards the cell, as a shaft does, and what that way does to its force.

A shaft pushes the head up. A mass hung on the head pulls it down: the count then falls, or, with the cell's wires
swapped, rises although that of a shaft will fall.
"""

from dataclasses import dataclass
from enum import StrEnum

from midspan.base.errors import ConfigurationError

PICTURE = "hardware_notes/pictures/cell-loading.svg"


class LoadingWay(StrEnum):
    """How the mass comes to push the head towards the cell."""

    TURNED = "turned"
    LEVER = "lever"
    PULLEY = "pulley"


ARRANGED = {
    LoadingWay.TURNED: "Turn the cell over: its bracket off the carriage, clamped upside down, level, the head on top",
    LoadingWay.LEVER: "Lay a lever under the head that lifts it when a mass hangs on the other end",
    LoadingWay.PULLEY: "Lead a cord from the head straight up over a pulley, so that a mass on its other end lifts it",
}
PUT_ON = {
    LoadingWay.TURNED: "Stand {:g} g on the head",
    LoadingWay.LEVER: "Hang {:g} g on the lever",
    LoadingWay.PULLEY: "Hang {:g} g on the cord",
}


@dataclass(frozen=True)
class Loading:
    """The way, newtons on the head for each newton of weight, and the relative standard uncertainty of that ratio.

    Raises ConfigurationError where the two do not go with the way: only a turned cell takes the weight as it is.
    """

    way: LoadingWay = LoadingWay.TURNED
    ratio: float = 1.0
    u_ratio: float = 0.0

    def __post_init__(self) -> None:
        if self.way is LoadingWay.TURNED and (self.ratio, self.u_ratio) != (1.0, 0.0):
            raise ConfigurationError(
                "on a turned cell the head bears the whole weight: leave --ratio and --ratio-u out, or say --way lever"
            )
        if self.way is LoadingWay.PULLEY and self.ratio != 1.0:
            raise ConfigurationError("a pulley only turns the force round: leave --ratio out")
        if self.way is not LoadingWay.TURNED and not self.u_ratio:
            known = "arms are" if self.way is LoadingWay.LEVER else "friction is"
            raise ConfigurationError(
                f"what a {self.way} passes on of the weight is known only as well as its {known}: say how well with "
                "--ratio-u"
            )

    @property
    def arranged(self) -> str:
        """What to set up before the first reading."""
        return f"{ARRANGED[self.way]} (drawn in {PICTURE}). What carries the masses stays on all the time."

    def put_on(self, mass_g: float) -> str:
        """What to do with a mass; 0 is none."""
        return PUT_ON[self.way].format(mass_g) if mass_g else "Leave the cell empty"
