"""Draw the force on a shaft around its turn, from readings that are still coming in or from the archive."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from midspan.archive.raw_run import RawRun
from midspan.measurement.calibration import Calibration
from midspan.web.svg_chart import SvgChart, with_room
from midspan.wire.records import Phase

ZEROS = (Phase.ZERO_BEFORE,)
BACK = {Phase.FULL: Phase.FULL_BACK, Phase.LIGHT: Phase.LIGHT_BACK, Phase.LIGHT_AGAIN: Phase.LIGHT_AGAIN_BACK}
DEPTHS = tuple(phase for pair in BACK.items() for phase in pair)
LOOKS = dict(zip(DEPTHS, ("line", "line", "dashed", "dashed", "thin", "thin"), strict=True))
WORDS = {
    Phase.SEATING: "turning to settle on its rollers",
    Phase.ZERO_BEFORE: "head up, reading the zero",
    Phase.APPROACH: "head moving down",
    Phase.LIGHT: "turning under the light load",
    Phase.LIGHT_BACK: "turning back under the light load",
    Phase.DEEPEN: "head moving to the full load",
    Phase.FULL: "turning under the full load",
    Phase.FULL_BACK: "turning back under the full load",
    Phase.ZERO_MIDDLE: "head up, reading the zero in between",
    Phase.RETURN: "head moving back to the light load",
    Phase.LIGHT_AGAIN: "turning under the light load again",
    Phase.LIGHT_AGAIN_BACK: "turning back under the light load again",
    Phase.LIFT: "head moving up",
    Phase.ZERO_AFTER: "head up, reading the zero again",
}
LEAST_MN = 20.0  # height of the axis at least, so that the noise of an even shaft does not look like a wave
FAR = 3.0  # times the range of the middle half of a depth's readings; a wave reaches 0.7 times, a knock or spark more


@dataclass(frozen=True)
class Turned:
    """Readings of a shaft so far.

    Parameters
    ----------
    shaft : int
        Number of the shaft.
    phases : dict[Phase, tuple[list[int], list[int]]]
        Rotate steps and counts by phase, in the order in which they were read.
    """

    shaft: int
    phases: dict[Phase, tuple[list[int], list[int]]]

    @property
    def readings(self) -> int:
        """Number of readings."""
        return sum(len(counts) for _, counts in self.phases.values())

    @property
    def words(self) -> str:
        """Action of the gauge on the shaft, by its newest readings; empty if there are none."""
        return WORDS.get(next(reversed(self.phases)), "in the gauge") if self.phases else ""


def turned_so_far(path: Path) -> Turned | None:
    """Read what LiveReadings has written of a shaft so far.

    Parameters
    ----------
    path : Path
        File of the live readings.

    Returns
    -------
    Turned | None
        None if there is no complete line, or the file is something else.
    """
    try:
        lines = path.read_text(encoding="utf-8").split("\n")[:-1]
        blocks = {block["block"]: block for block in map(json.loads, lines)}
        return _joined([blocks[number] for number in sorted(blocks)])
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _joined(blocks: Iterable[Mapping[str, Any]]) -> Turned | None:
    """Return the readings of blocks, or None if there are none."""
    phases: dict[Phase, tuple[list[int], list[int]]] = {}
    shaft = None
    for block in blocks:
        shaft = int(block["shaft"])
        steps, counts = phases.setdefault(Phase(block["phase"]), ([], []))
        steps += block["rotate_steps"]
        counts += block["counts"]
    return None if shaft is None else Turned(shaft, phases)


def turned_in(run: RawRun) -> Turned:
    """Return the readings of a whole run.

    Parameters
    ----------
    run : RawRun
        Run from the archive.

    Returns
    -------
    Turned
        Its readings by phase.
    """
    return Turned(
        run.shaft,
        {
            Phase(phase): (run.rotate_steps[place].tolist(), run.counts[place].tolist())
            for phase, place in run.places().items()
        },
    )


def curve(turned: Turned, calibration: Calibration) -> str:
    """Draw the force about its median against the angle, a line for each depth.

    Readings far from their depth's median are left out and counted under the chart: a single spike would flatten the
    curve.

    Parameters
    ----------
    turned : Turned
        Readings so far.
    calibration : Calibration
        Calibration of the gauge.

    Returns
    -------
    str
        SVG; empty before the first depth.
    """
    zeros = [count for phase in ZEROS for count in turned.phases.get(phase, ((), ()))[1]]
    if not zeros:
        return ""
    zero, lines = float(np.median(zeros)), {}
    for phase in DEPTHS:
        steps, counts = (np.asarray(column, float) for column in turned.phases.get(phase, ((), ())))
        if len(counts) > 1:
            force_mn = 1000 * calibration.force_n(counts - zero)
            turns = (steps - steps.min()) / calibration.rotation.steps_per_turn  # on the way back it ends at the start
            lines[phase] = list(zip(turns.tolist(), (force_mn - np.median(force_mn)).tolist(), strict=True))
    if not lines:
        return ""
    forces = [np.array(points)[:, 1] for points in lines.values()]
    spans = [float(np.subtract(*np.percentile(force_mn, [75, 25]))) for force_mn in forces]
    everything, near = np.concatenate(forces), max(LEAST_MN / 2, FAR * max(spans))
    shown = everything[np.abs(everything) <= near]
    furthest = max(x for points in lines.values() for x, _ in points)
    chart = SvgChart(
        "Force around the shaft as it turns", (0.0, max(2.0, furthest)), with_room(shown.tolist(), LEAST_MN)
    )
    for phase, points in lines.items():
        chart.line([(x, y) for x, y in points if abs(y) <= near], LOOKS[phase])
    left = len(everything) - len(shown)
    far = f" ({left} not shown, as far as {max(everything, key=abs):+.0f} mN)" if left else ""
    return chart.done(f"turns{far}", "force above or below its average, mN")
