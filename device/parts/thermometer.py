"""Thermometer by the shaft: a thermistor from an analog pin to ground, a resistor from the pin to 3.3 V.

A look takes less than a millisecond. The supply's voltage cancels, because the chip's converter compares with it.

sensor = Thermometer(ADC(28), {"pin": 28, "pull_up_ohm": 10000, "ohm_25": 10000, "beta_k": 3950})
print(sensor.centi())  # 2134 at 21.34 degC, None with a wire off
"""

from math import log

from micropython import const

_LOOKS = const(32)  # for the mean: motors that hold are heard on a long wire
_FULL = const(2097152)  # sum of the looks at 3.3 V


class Thermometer:
    """Thermistor at an analog pin of the chip."""

    def __init__(self, pin, given: dict) -> None:
        self._pin, self._given = pin, given

    def centi(self) -> "int | None":
        """Return the temperature in 0.01 degC, None if a wire is off or shorted.

        R = R25 exp(B / T - B / T25), T25 = 298.15 K, as IEC 60539-1 defines B.
        """
        given, level = self._given, sum([self._pin.read_u16() for _ in range(_LOOKS)])
        if not level:
            return None
        beta = given["beta_k"]
        share = given["pull_up_ohm"] / given["ohm_25"] * level / (_FULL - level)
        below = 20 * beta + 5963 * log(share)  # 5963 / 20 = 298.15
        centi = int(100 * (5963 * beta / below)) - 27315 if below > beta else 30000
        return centi if -4000 <= centi <= 8500 else None  # a broken wire looks colder, a short hotter
