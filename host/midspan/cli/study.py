"""Command line: studies of how well a gauge measures."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from midspan.cli.options import STORE, AsJson, Commands, Picture, StoreFile

study = typer.Typer(
    cls=Commands,
    help="Study how well a gauge measures: repeatability, bias, stability, control charts.",
    epilog="Example: midspan study chart --label bar-1",
    no_args_is_help=True,
)


class Interaction(StrEnum):
    """Whether appraisers may differ from part to part."""

    AUTO = "auto"
    WITH = "with"
    WITHOUT = "without"


class Quantity(StrEnum):
    """What of a stored result is studied."""

    SPINE = "spine_thou"
    SPREAD = "spread_thou"
    RUNOUT = "runout_mm"
    HYSTERESIS = "hysteresis_pct"
    OLDER = "older_lb"


Labels = Annotated[list[str] | None, typer.Option("--label", help="Label of the check standard.")]
Of = Annotated[Quantity, typer.Option("--quantity", help="What of the stored results is studied.")]
References = Annotated[
    Path | None, typer.Option("--csv", help="Readings: columns part, reference, value; u_reference.")
]
Bars = Annotated[list[Path] | None, typer.Option("--bar", help="File of an assigned bar (midspan hand assign).")]
Tolerance = Annotated[
    float | None,
    typer.Option(min=1e-9, max=1e9, help="Width between two limits that the gauge must serve, in the same unit."),
]


@study.command("gauge", epilog="Example: midspan study gauge --batch 1,2 --batch 3,4 --batch 5,6 --tolerance 10")
def gauge(
    csv: Annotated[Path | None, typer.Option(help="Readings: columns part, appraiser, value.")] = None,
    store: StoreFile = STORE,
    batch: Annotated[
        list[str] | None, typer.Option(help="Stored batches of one appraiser, as 1,4,7; once for each appraiser.")
    ] = None,
    quantity: Of = Quantity.SPINE,
    interaction: Annotated[
        Interaction, typer.Option(help="Keep it, drop it, or decide by its F test.")
    ] = Interaction.AUTO,
    tolerance: Tolerance = None,
    picture: Picture = None,
    as_json: AsJson = False,
) -> None:
    """Repeatability and reproducibility: the same parts, measured by several people, days or gauges."""
    from midspan.cli import study_commands

    study_commands.gauge(csv, store, batch or [], quantity, interaction, tolerance, picture, as_json=as_json)


@study.command("linearity", epilog="Example: midspan study linearity --bar soft.toml --bar mid.toml --bar stiff.toml")
def linearity(
    csv: References = None,
    store: StoreFile = STORE,
    bar: Bars = None,
    quantity: Of = Quantity.SPINE,
    tolerance: Tolerance = None,
    picture: Picture = None,
    as_json: AsJson = False,
) -> None:
    """Bias against bars of known value, and whether it changes along the range."""
    from midspan.cli import study_commands

    study_commands.linearity(csv, store, bar or [], quantity, tolerance, picture, as_json=as_json)


@study.command("bias", epilog="Example: midspan study bias --bar bar-1.toml --tolerance 10")
def bias(
    csv: References = None,
    store: StoreFile = STORE,
    bar: Bars = None,
    quantity: Of = Quantity.SPINE,
    tolerance: Tolerance = None,
    picture: Picture = None,
    as_json: AsJson = False,
) -> None:
    """Bias against one bar of known value, or several, each on its own."""
    from midspan.cli import study_commands

    study_commands.bias(csv, store, bar or [], quantity, tolerance, picture, as_json=as_json)


@study.command("stability", epilog="Example: midspan study stability --label bar-1 --picture bar-1.png")
def stability(
    csv: Annotated[Path | None, typer.Option(help="Readings: columns value and day (a date or a number).")] = None,
    store: StoreFile = STORE,
    label: Labels = None,
    quantity: Of = Quantity.SPINE,
    picture: Picture = None,
    as_json: AsJson = False,
) -> None:
    """Scatter within and between days, and drift, of one check standard."""
    from midspan.cli import study_commands

    study_commands.stability(csv, store, label or [], quantity, picture, as_json=as_json)


@study.command("stock", epilog="Example: midspan study stock --batch 1 --low 493 --high 505")
def stock(
    csv: Annotated[Path | None, typer.Option(help="Values: column value.")] = None,
    store: StoreFile = STORE,
    batch: Annotated[list[str] | None, typer.Option(help="Stored batches, as 1,4,7.")] = None,
    quantity: Of = Quantity.SPINE,
    low: Annotated[float | None, typer.Option(min=-1e9, max=1e9, help="Lower limit, if there is one.")] = None,
    high: Annotated[float | None, typer.Option(min=-1e9, max=1e9, help="Upper limit, if there is one.")] = None,
    share: Annotated[float, typer.Option(min=0.5, max=0.9999, help="Share of all shafts to be held.")] = 0.95,
    confidence: Annotated[float, typer.Option(min=0.5, max=0.9999, help="How sure that shall be.")] = 0.95,
    picture: Picture = None,
    as_json: AsJson = False,
) -> None:
    """Where nearly all shafts of a stock lie, and how well they suit given limits."""
    from midspan.cli import study_commands

    study_commands.stock(csv, store, batch or [], quantity, (low, high), share, confidence, picture, as_json=as_json)


@study.command("chart", epilog="Example: midspan study chart --label bar-1 --baseline 20")
def chart(
    csv: Annotated[
        Path | None, typer.Option(help="Readings in the order of time: column value, and day if known.")
    ] = None,
    store: StoreFile = STORE,
    label: Labels = None,
    quantity: Of = Quantity.SPINE,
    baseline: Annotated[int | None, typer.Option(min=2, help="First readings that make the limits; else all.")] = None,
    weight: Annotated[float, typer.Option(min=0.01, max=1.0, help="Weight of the newest reading in the mean.")] = 0.2,
    picture: Picture = None,
    as_json: AsJson = False,
) -> None:
    """Control charts of a check standard: single readings, moving range, weighted mean, run rules."""
    from midspan.cli import study_commands

    study_commands.chart(csv, store, label or [], quantity, baseline, weight, picture, as_json=as_json)
