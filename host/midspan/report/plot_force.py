"""Force against travel of one shaft from its raw readings: the way in, the way back, and three turns between.

Above is the force itself. Below is what remains after the straight line through both mean forces: there hysteresis of
shaft or frame parts the branches, and a curve shows that force is not proportional to travel.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from midspan.archive.raw_run import Phase, RawRun
from midspan.base.errors import OutputError
from midspan.base.formatting import printable
from midspan.measurement.calibrated_columns import UNFIT, why_cut_short
from midspan.measurement.calibration import Calibration
from midspan.measurement.harmonics import Array
from midspan.report.picture import FAINT, INK, LIGHT, SHADE

IN, BACK = (Phase.APPROACH, Phase.DEEPEN), (Phase.RETURN, Phase.LIFT)
TURNS = ((Phase.LIGHT, "light depth", "o"), (Phase.FULL, "full depth", "s"), (Phase.LIGHT_AGAIN, "light again", "D"))
SETTLING = 1  # status bit of protocol/readings.avsc
TOUCHED_N = 0.05  # least force shown in the lower panel: below it the head does not touch the shaft


@dataclass(frozen=True)
class Branches:
    """Good readings of a run, all arrays of shape (readings,).

    Parameters
    ----------
    travel_mm : Array
        Travel of the head below home, mm.
    force_n : Array
        Force, N.
    turns : Array
        Turns of the shaft.
    phase : Array
        Phase of the cycle.
    """

    travel_mm: Array
    force_n: Array
    turns: Array
    phase: Array

    def of(self, *phases: Phase) -> tuple[Array, Array]:
        """Return travel and force in some phases.

        Parameters
        ----------
        *phases : Phase
            The phases.

        Returns
        -------
        tuple[Array, Array]
            Travel, mm, and force, N, each of shape (readings,).
        """
        chosen = np.isin(self.phase, phases)
        return self.travel_mm[chosen], self.force_n[chosen]

    def whole_turn(self, phase: Phase) -> tuple[Array, Array]:
        """Return travel and force over the first whole turn in a phase.

        Over any other part of a turn the bow would be in the mean.

        Parameters
        ----------
        phase : Phase
            The phase.

        Returns
        -------
        tuple[Array, Array]
            Travel, mm, and force, N, each of shape (readings,).
        """
        chosen = self.phase == phase
        chosen &= self.turns < self.turns[chosen].min() + 1
        return self.travel_mm[chosen], self.force_n[chosen]


def branches(run: RawRun, calibration: Calibration, slip_pct: float) -> Branches:
    """Return calibrated travel and force of a run, with its slip as it was found.

    The zero is a straight line in time between the medians of both zeros.

    Parameters
    ----------
    run : RawRun
        The raw readings.
    calibration : Calibration
        Calibration to convert them by.
    slip_pct : float
        Slip of the rollers, %.

    Returns
    -------
    Branches
        The good readings.

    Raises
    ------
    OutputError
        The cycle was cut short, or a zero has no good reading.
    """
    cut = why_cut_short(run)
    if cut:
        raise OutputError(f"{run.name} has no way back to draw: {'; '.join(cut)}", code="cut_short")
    phase = np.repeat([kind for kind, _ in run.segments], [number for _, number in run.segments])
    # A reading while the press moves belongs to the head's position, though it is marked as settling; one that settles
    # at a depth does not count.
    good = (run.status & np.where(np.isin(phase, (*IN, *BACK)), UNFIT & ~SETTLING, UNFIT)) == 0
    zeros = [good & (phase == kind) for kind in (Phase.ZERO_BEFORE, Phase.ZERO_AFTER)]
    if not all(zero.any() for zero in zeros):
        words = f"{run.name} has no good reading of its zero; there is nothing to draw"
        raise OutputError(words, code="no_zero")
    counts = [float(np.median(run.counts[zero])) for zero in zeros]
    times = [float(np.median(run.tick_us[zero])) for zero in zeros]
    rise = run.counts - np.interp(run.tick_us, times, counts)
    turns = run.rotate_steps / (calibration.rotation.steps_per_turn * (1 + slip_pct / 100))
    columns = calibration.travel_mm(run.press_steps.astype(float)), calibration.force_n(rise), turns, phase
    return Branches(*(column[good] for column in columns))


def draw_force(figure: Figure, run: RawRun, found: Branches, hysteresis: str) -> None:
    """Draw force against travel.

    Parameters
    ----------
    figure : Figure
        An empty figure.
    run : RawRun
        The run, for the title.
    found : Branches
        Its good readings.
    hysteresis : str
        Hysteresis of its result in words.
    """
    upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(1.5, 1))
    depths = [tuple(float(column.mean()) for column in found.whole_turn(phase)) for phase, _, _ in TURNS]
    slope, base = np.polyfit([depths[0][0], depths[1][0]], [depths[0][1], depths[1][1]], 1)
    for axes, line, scale in ((upper, (0.0, 0.0), 1.0), (lower, (slope, base), 1000.0)):
        for phases, style, fill, words in ((IN, "-", INK, "way in"), (BACK, "--", "white", "way back")):
            x, y = _pressed(*found.of(*phases)) if scale > 1 else found.of(*phases)
            axes.plot(
                x, scale * (y - np.polyval(line, x)), ls=style, marker="o", ms=2.8, mfc=fill, mec=INK, mew=0.7,
                color=INK, lw=0.9, label=f"{words} (n = {len(x)})",
            )  # fmt: skip
        for (phase, words, mark), (x_mean, y_mean) in zip(TURNS, depths, strict=True):
            x, y = found.whole_turn(phase)
            y = scale * (y - np.polyval(line, x))
            axes.vlines(x_mean, y.min(), y.max(), color=SHADE, lw=3, zorder=1)
            axes.plot(
                x_mean, scale * (y_mean - np.polyval(line, x_mean)), mark, ms=8, mfc=LIGHT, mec=INK, zorder=3,
                label=f"{words}, mean of a turn and its range (n = {len(x)})",
            )  # fmt: skip
    upper.set_ylabel("force, N")
    upper.legend(fontsize=8, frameon=False)
    _words_below(lower)
    figure.suptitle(
        printable(f"{run.name[0].upper()}{run.name[1:]}: n = {len(found.force_n)} readings, {hysteresis}"), fontsize=11
    )


def _pressed(travel_mm: Array, force_n: Array) -> tuple[Array, Array]:
    """Return the readings at which the head touched the shaft."""
    touched = force_n > TOUCHED_N
    return travel_mm[touched], force_n[touched]


def _words_below(axes: Any) -> None:
    """Label the lower panel."""
    axes.axhline(0, color=FAINT, ls=":", lw=1)
    # The shaft turns between the branches; they would differ by hysteresis alone if both pressed the same side.
    axes.set_title("Each branch presses another side of the shaft; only means of turns compare like with like.",
                   fontsize=8, loc="left")  # fmt: skip
    axes.set_ylabel("beside the straight line\nthrough both mean forces, mN")
    axes.set_xlabel("travel of the head below home, mm")
