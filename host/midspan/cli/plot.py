"""Command line: pictures of what is stored, as PNG, SVG or PDF."""

from pathlib import Path
from typing import Annotated

import typer

from midspan.cli.options import STORE, Commands, Factor, FixedFactor, StoreFile
from midspan.cli.study import Quantity

plot = typer.Typer(
    cls=Commands,
    help="Draw what is stored: PNG, SVG or PDF, by the name of the file.",
    epilog="Example: midspan plot around 17 --out around-17.svg",
    no_args_is_help=True,
)

Shaft = Annotated[str, typer.Argument(help="Number or label of the shaft; its newest result is drawn.")]
Out = Annotated[Path, typer.Option("--out", help="File to write: its name ends in .png, .svg or .pdf.")]


@plot.command("around", epilog="Example: midspan plot around 17 --out around-17.svg")
def around(shaft: Shaft, out: Out, store: StoreFile = STORE, k: Factor = None) -> None:
    """Stiffness around a shaft with its uncertainty, and its surface."""
    from midspan.cli import plot_commands

    plot_commands.around(shaft, out, store, k)


@plot.command("budget", epilog="Example: midspan plot budget 17 --out budget-17.pdf")
def budget(shaft: Shaft, out: Out, store: StoreFile = STORE, k: Factor = None) -> None:
    """Where the uncertainty of a shaft's spine comes from."""
    from midspan.cli import plot_commands

    plot_commands.budget(shaft, out, store, k)


@plot.command("force", epilog="Example: midspan plot force 17 --out force-17.png")
def force(
    shaft: Shaft,
    out: Out,
    archive: Annotated[
        Path | None, typer.Option(help="Archive of its raw readings.", show_default="where it was written")
    ] = None,
    store: StoreFile = STORE,
) -> None:
    """Force against travel, way in and way back, from the raw readings."""
    from midspan.cli import plot_commands

    plot_commands.force(shaft, archive, out, store)


@plot.command("batch", epilog="Example: midspan plot batch 1 --bands bands.toml --out batch-1.png")
def batch(
    number: Annotated[int, typer.Argument(min=1, help="Number of the batch.", metavar="BATCH")],
    out: Out,
    bands: Annotated[Path | None, typer.Option(help="Tolerance bands to draw (TOML).")] = None,
    store: StoreFile = STORE,
    k: FixedFactor = 2.0,
) -> None:
    """Every shaft of a batch against the bands; check standards are not among them."""
    from midspan.cli import plot_commands

    plot_commands.batch(number, bands, out, store, k)


@plot.command("set", epilog="Example: midspan plot set 'spring 1' --out spring-1.pdf")
def matched(
    name: Annotated[str, typer.Argument(help="Name of the set.", metavar="SET")],
    out: Out,
    store: StoreFile = STORE,
    k: FixedFactor = 2.0,
) -> None:
    """The shafts of a kept set beside their mean."""
    from midspan.cli import plot_commands

    plot_commands.matched(name, out, store, k)


@plot.command("check", epilog="Example: midspan plot check 'bar 1' --out bar-1.png")
def check(
    label: Annotated[str, typer.Argument(help="Label of the check standard.")],
    out: Out,
    quantity: Annotated[Quantity, typer.Option(help="What of its results is drawn.")] = Quantity.SPINE,
    store: StoreFile = STORE,
) -> None:
    """Control chart of a check standard over all its results."""
    from midspan.cli import plot_commands

    plot_commands.check(label, quantity, out, store)
