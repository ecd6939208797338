"""What a cycle takes and what it gives: its seconds by phase, shafts an hour, and the scatter of each quantity."""

from dataclasses import dataclass

from midspan.measurement.calibration import Calibration
from midspan.measurement.cycle_bound import Noise, Repeatability, repeatability
from midspan.measurement.cycle_plan import cycle_steps, steps_per_conversion
from midspan.measurement.cycle_settings import CycleSettings
from midspan.measurement.cycle_time import AssumedShaft, cycle_seconds
from midspan.wire.records import Identify, Phase

FEEDING_S = 2.2  # a shaft rolls in, its readings are judged, and it rolls out; a simulated night takes so long
HOUR_S = 3600.0
# Phases whose readings make the result; in the others something moves, or turns back.
SAMPLED = (Phase.ZERO_BEFORE, Phase.LIGHT, Phase.FULL, Phase.LIGHT_AGAIN, Phase.ZERO_AFTER)


@dataclass(frozen=True, slots=True)
class CycleCost:
    """A cycle's time, and the scatter between cycles that the noise of the readings leaves.

    Parameters
    ----------
    settings : CycleSettings
        The settings.
    seconds : dict of str to float
        Seconds by name of phase, in the order in which the phases first come.
    readings_per_turn : float
        Readings in a turn, as the speed gives them that does not beat with the sampling.
    repeatability : Repeatability
        Standard deviation of each quantity between cycles.
    feeding_s : float
        Seconds in which a shaft is brought and taken away.
    """

    settings: CycleSettings
    seconds: dict[str, float]
    readings_per_turn: float
    repeatability: Repeatability
    feeding_s: float

    @property
    def cycle_s(self) -> float:
        """Seconds of the whole cycle."""
        return sum(self.seconds.values())

    @property
    def sampled_share(self) -> float:
        """Share of the cycle in which readings are taken that make the result."""
        return sum(self.seconds[phase.name] for phase in SAMPLED) / self.cycle_s

    @property
    def shafts_an_hour(self) -> float:
        """Shafts an hour, with feeding."""
        return HOUR_S / (self.cycle_s + self.feeding_s)


def cycle_cost(
    settings: CycleSettings,
    calibration: Calibration,
    identify: Identify,
    noise: Noise,
    feeding_s: float = FEEDING_S,
) -> CycleCost:
    """Return the time of a cycle and the scatter of its results.

    Parameters
    ----------
    settings : CycleSettings
        Readings, turns, zeros and speeds.
    calibration : Calibration
        Scales of the gauge.
    identify : Identify
        Limits of the gauge.
    noise : Noise
        Noise of a reading, and the shaft.
    feeding_s : float
        Seconds in which a shaft is brought and taken away.

    Returns
    -------
    CycleCost
        Time and scatter.

    Raises
    ------
    ConfigurationError
        The gauge does not allow the settings.
    ConversionError
        The shaft is too soft for the gauge.
    """
    steps = cycle_steps(calibration, identify, settings)
    seconds: dict[str, float] = {}
    for step, duration in zip(
        steps, cycle_seconds(steps, identify, calibration, AssumedShaft(noise.spine_thou)), strict=True
    ):
        name = Phase(step.phase).name
        seconds[name] = seconds.get(name, 0.0) + duration
    speed = steps[0].rotate_speed
    per_turn = calibration.rotation.steps_per_turn / steps_per_conversion(speed, identify.interval_us)
    as_run = settings.model_copy(update={"readings_per_turn": per_turn})
    return CycleCost(
        settings, seconds, per_turn, repeatability(as_run, calibration, noise, identify.interval_us), feeding_s
    )
