"""`midspan cycle`: what a measuring cycle takes and what it gives, before anything moves."""

from typing import TYPE_CHECKING, Annotated

import typer

from midspan.cli.options import AsJson, CalibrationFile, CycleChoice

if TYPE_CHECKING:
    from midspan.wire.records import Identify

LimitsFrom = Annotated[
    str | None,
    typer.Option("--port", help="Gauge whose limits count.", show_default="those of a new board's file"),
]


def cycle(
    calibration: CalibrationFile,
    cycle: CycleChoice = None,
    port: LimitsFrom = None,
    noise: Annotated[float, typer.Option(min=1e-6, max=1.0, help="Scatter of a reading while turning, N.")] = 0.0004,
    spine: Annotated[float, typer.Option(min=50, max=2000, help="Spine of the shaft, thou.")] = 500.0,
    spread: Annotated[float, typer.Option(min=0, max=100, help="Its spread, thou.")] = 3.0,
    bow: Annotated[float, typer.Option(min=0, max=5, help="Its bow, mm.")] = 0.1,
    feeding: Annotated[float, typer.Option(min=0, max=600, help="Seconds to bring and take away a shaft.")] = 2.2,
    as_json: AsJson = False,
) -> None:
    """Show what a measuring cycle takes, by phase, and how its results scatter.

    Nothing moves. A cycle that the gauge does not allow is refused by the key that is wrong.
    """
    from midspan.measurement.calibration import load_calibration
    from midspan.measurement.cycle_bound import Noise
    from midspan.measurement.cycle_cost import cycle_cost
    from midspan.measurement.cycle_settings import chosen_cycle
    from midspan.report.cycle_text import cycle_json, cycle_story
    from midspan.report.result_text import console

    scales = load_calibration(calibration)
    settings = scales.usual_cycle if cycle is None else chosen_cycle(cycle)
    cost = cycle_cost(settings, scales, _limits(port), Noise(noise, spine, spread, bow), feeding)
    if as_json:
        print(cycle_json(cost))
    else:
        console().print(cycle_story(cost))


def _limits(port: str | None) -> "Identify":
    """Return the limits of a gauge, or those of a new board without one."""
    from midspan.board.board_limits import limits_of_new_board
    from midspan.link.gauge import open_gauge

    if port is None:
        return limits_of_new_board()
    with open_gauge(port) as gauge:
        return gauge.identify()
