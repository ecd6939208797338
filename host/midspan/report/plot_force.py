"""Force against travel of one shaft from its raw readings: the way in, the way back, and the three turns between.

Above the force itself. Below what is left of it less the straight line through both mean forces: there the two
branches part where a shaft or a frame has hysteresis, and a bend shows that the force is no straight line.
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
TOUCHED_N = 0.05  # the least force that is shown below: before, nothing but air is pressed


@dataclass(frozen=True)
class Branches:
    """Travel of the head below home (mm), force (N) and turns of the shaft at every good reading, and its phase."""

    travel_mm: Array
    force_n: Array
    turns: Array
    phase: Array

    def of(self, *phases: Phase) -> tuple[Array, Array]:
        """Travel and force in some phases."""
        chosen = np.isin(self.phase, phases)
        return self.travel_mm[chosen], self.force_n[chosen]

    def whole_turn(self, phase: Phase) -> tuple[Array, Array]:
        """Travel and force over the first whole turn in a phase: a bow is in the mean of any other part of turns."""
        chosen = self.phase == phase
        chosen &= self.turns < self.turns[chosen].min() + 1
        return self.travel_mm[chosen], self.force_n[chosen]


def branches(run: RawRun, calibration: Calibration, slip_pct: float) -> Branches:
    """Calibrated travel and force of a run, its slip as it was found.

    The zero is a straight line in time between the medians of both zeros.

    Raises OutputError when the cycle was cut short: then there is no way back.
    """
    cut = why_cut_short(run)
    if cut:
        raise OutputError(f"{run.name} has no way back to draw: {'; '.join(cut)}")
    phase = np.repeat([one for one, _ in run.segments], [number for _, number in run.segments])
    # A reading while the press moves is of where the head is; one that settles after a motion tells nothing.
    good = (run.status & UNFIT) == 0
    zeros = [good & (phase == one) for one in (Phase.ZERO_BEFORE, Phase.ZERO_AFTER)]
    if not all(zero.any() for zero in zeros):
        raise OutputError(f"{run.name} has no good reading of its zero; there is nothing to draw")
    counts = [float(np.median(run.counts[zero])) for zero in zeros]
    times = [float(np.median(run.tick_us[zero])) for zero in zeros]
    rise = run.counts - np.interp(run.tick_us, times, counts)
    turns = run.rotate_steps / (calibration.rotation.steps_per_turn * (1 + slip_pct / 100))
    columns = calibration.travel_mm(run.press_steps.astype(float)), calibration.force_n(rise), turns, phase
    return Branches(*(column[good] for column in columns))


def draw_force(figure: Figure, run: RawRun, found: Branches, hysteresis: str) -> None:
    """Draw both branches on an empty figure; `hysteresis` is what the result says of it, in words."""
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
    touched = force_n > TOUCHED_N
    return travel_mm[touched], force_n[touched]


def _words_below(axes: Any) -> None:
    axes.axhline(0, color=FAINT, ls=":", lw=1)
    # The shaft was turned between the branches; at one angle only would they differ by hysteresis alone.
    axes.set_title("Each branch presses another side of the shaft; only means of turns compare like with like.",
                   fontsize=8, loc="left")  # fmt: skip
    axes.set_ylabel("beside the straight line\nthrough both mean forces, mN")
    axes.set_xlabel("travel of the head below home, mm")
