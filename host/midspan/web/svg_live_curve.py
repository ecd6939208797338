"""The force on a shaft as it turns, from readings that are still coming in or from the archive."""

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

ZEROS, DEPTHS = (Phase.ZERO_BEFORE,), (Phase.FULL, Phase.LIGHT, Phase.LIGHT_AGAIN)
LOOKS = {Phase.FULL: "line", Phase.LIGHT: "dashed", Phase.LIGHT_AGAIN: "thin"}
WORDS = {
    Phase.ZERO_BEFORE: "the head is up, the cell reads its zero",
    Phase.APPROACH: "the head comes down",
    Phase.LIGHT: "it turns under the light load",
    Phase.DEEPEN: "the head goes on to the full load",
    Phase.FULL: "it turns under the full load",
    Phase.RETURN: "the head goes back to the light load",
    Phase.LIGHT_AGAIN: "it turns under the light load once more",
    Phase.LIFT: "the head goes up",
    Phase.ZERO_AFTER: "the head is up, the cell reads its zero again",
}
LEAST_MN = 20.0  # so that the noise of an even shaft does not look like a wave
FAR = 3.0  # times what the middle half of a depth's readings span: a wave reaches 0.7 of it, a knock or a spark more


@dataclass(frozen=True)
class Turned:
    """What was read of a shaft so far: by phase its rotate steps and counts, in the order they were taken."""

    shaft: int
    phases: dict[Phase, tuple[list[int], list[int]]]

    @property
    def readings(self) -> int:
        """How many."""
        return sum(len(counts) for _, counts in self.phases.values())

    @property
    def words(self) -> str:
        """What is being done with it, by the newest of the readings."""
        return WORDS.get(next(reversed(self.phases)), "it is in the gauge") if self.phases else ""


def turned_so_far(path: Path) -> Turned | None:
    """Read what `link/live_readings_file.py` has written so far; None when there is no whole line."""
    try:
        lines = path.read_text(encoding="utf-8").split("\n")[:-1]
        blocks = {one["block"]: one for one in map(json.loads, lines)}
        return _joined([blocks[number] for number in sorted(blocks)])
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _joined(blocks: Iterable[Mapping[str, Any]]) -> Turned | None:
    phases: dict[Phase, tuple[list[int], list[int]]] = {}
    shaft = None
    for one in blocks:
        shaft = int(one["shaft"])
        steps, counts = phases.setdefault(Phase(one["phase"]), ([], []))
        steps += one["rotate_steps"]
        counts += one["counts"]
    return None if shaft is None else Turned(shaft, phases)


def turned_in(run: RawRun) -> Turned:
    """The same of a whole run."""
    return Turned(
        run.shaft,
        {
            Phase(phase): (run.rotate_steps[place].tolist(), run.counts[place].tolist())
            for phase, place in run.places().items()
        },
    )


def curve(turned: Turned, calibration: Calibration) -> str:
    """Force less its mean against the angle for each depth; nothing before the first of them."""
    zeros = [count for phase in ZEROS for count in turned.phases.get(phase, ((), ()))[1]]
    if not zeros:
        return ""
    zero, lines = float(np.median(zeros)), {}
    for phase in DEPTHS:
        steps, counts = (np.asarray(one, float) for one in turned.phases.get(phase, ((), ())))
        if len(counts) > 1:
            force_mn = 1000 * calibration.force_n(counts - zero)
            turns = (steps - steps[0]) / calibration.rotation.steps_per_turn
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
    return chart.done(f"turns{far}", "force less its middle, mN")
