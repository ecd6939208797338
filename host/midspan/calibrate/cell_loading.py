"""Ways to make a mass push the head towards the cell, as a shaft does, and their effect on the force.

A shaft pushes the head up. A mass hung on the head pulls it down: the count then falls. If the cell's wires are
swapped as well, it rises, although it will fall under a shaft.
"""

from dataclasses import dataclass
from enum import StrEnum

from midspan.base.errors import ConfigurationError


class LoadingWay(StrEnum):
    """Way in which a mass pushes the head towards the cell."""

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
    """Way of loading, with the ratio of the force on the head to the weight of the mass.

    Parameters
    ----------
    way : LoadingWay
        Arrangement of cell and mass.
    ratio : float
        Force on the head per weight, N/N.
    u_ratio : float
        Its relative standard uncertainty.

    Raises
    ------
    ConfigurationError
        Ratio or uncertainty do not fit the way: only a turned cell takes the weight as it is.
    """

    way: LoadingWay = LoadingWay.TURNED
    ratio: float = 1.0
    u_ratio: float = 0.0

    def __post_init__(self) -> None:
        if self.way is LoadingWay.TURNED and (self.ratio, self.u_ratio) != (1.0, 0.0):
            raise ConfigurationError(
                "on a turned cell the head bears the whole weight: omit --ratio and --ratio-u, or use --way lever"
            )
        if self.way is LoadingWay.PULLEY and self.ratio != 1.0:
            raise ConfigurationError("a pulley only changes the direction of the force: omit --ratio")
        if self.way is not LoadingWay.TURNED and not self.u_ratio:
            known = "arms are" if self.way is LoadingWay.LEVER else "friction is"
            raise ConfigurationError(
                f"the force through a {self.way} is known only as well as its {known}: give the uncertainty with "
                "--ratio-u"
            )

    @property
    def arranged(self) -> str:
        """Instruction for the set-up before the first reading."""
        return f"{ARRANGED[self.way]}. What carries the masses stays on all the time."

    def put_on(self, mass_g: float) -> str:
        """Return the instruction for a load.

        Parameters
        ----------
        mass_g : float
            Mass to put on, g; 0 for the empty cell.

        Returns
        -------
        str
            Imperative sentence without a full stop.
        """
        return PUT_ON[self.way].format(mass_g) if mass_g else "Leave the cell empty"
