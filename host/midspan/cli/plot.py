"""`midspan plot`: pictures of what is stored, as PNG, SVG or PDF."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from midspan.base.errors import OutputError, StoreError
from midspan.base.formatting import printable, with_uncertainty
from midspan.cli.options import STORE, Commands, Factor, StoreAt, named_after
from midspan.cli.screen import aside
from midspan.cli.study import Quantity, charted, enough_of, of_labels
from midspan.store.place import StorePlace

if TYPE_CHECKING:
    from midspan.store.database import Store

plot = typer.Typer(
    cls=Commands,
    help="Draw what is stored: PNG, SVG or PDF, by the name of the file.",
    epilog="Example: midspan plot around 17 --out around-17.svg",
    no_args_is_help=True,
)

Shaft = Annotated[str, typer.Argument(help="Number or label of the shaft; its newest result is drawn.")]
Out = Annotated[
    Path | None,
    typer.Option(
        "--out", help="File to write: its name ends in .png, .svg or .pdf.", show_default="such as around-17.svg"
    ),
]


@plot.command("around", epilog="Example: midspan plot around 17 --out around-17.svg")
def around(shaft: Shaft, out: Out = None, store: StoreAt = STORE, k: Factor = None) -> None:
    """Stiffness around a shaft with its uncertainty, and its surface."""
    from midspan.report.plot_shaft import draw_around
    from midspan.store.lookup import newest, whole

    out = out or named_after("around", shaft, ".svg")
    with _open(store, out) as opened:
        draw_around(whole(newest(opened, shaft), store), out, k)
    _say(out)


@plot.command(
    "budget",
    help="Where the uncertainty of a shaft's spine comes from.",
    epilog="Example: midspan plot budget 17 --out budget-17.pdf",
)
def budget(shaft: Shaft, out: Out = None, store: StoreAt = STORE, k: Factor = None) -> None:
    """Draw what the uncertainty of a shaft's spine comes from."""
    from midspan.measurement.shown_quantities import spine_text
    from midspan.report.plot_budget import draw_budget
    from midspan.store.lookup import newest, whole
    from midspan.uncertainty.budget import Coverage

    out = out or named_after("budget", shaft, ".svg")
    with _open(store, out) as opened:
        result = whole(newest(opened, shaft), store)
    name = printable(f"shaft {result.shaft} {result.label}").strip()
    title = f"{name}: spine {spine_text(result, k)}; where its uncertainty comes from"
    draw_budget(title, result.budget, Coverage(factor=k), out)
    _say(out)


@plot.command("force", epilog="Example: midspan plot force 17 --out force-17.png")
def force(
    shaft: Shaft,
    out: Out = None,
    archive: Annotated[
        Path | None, typer.Option(help="Archive of its raw readings.", show_default="where it was written")
    ] = None,
    store: StoreAt = STORE,
) -> None:
    """Force against travel, way in and way back, from the raw readings."""
    from midspan.hand_bench.result import HandResult
    from midspan.report.picture import paper
    from midspan.report.plot_force import branches, draw_force
    from midspan.store.lookup import newest, raw_run, whole
    from midspan.uncertainty.budget import Coverage

    out = out or named_after("force", shaft, ".svg")
    with _open(store, out) as opened:
        stored = newest(opened, shaft)
        result = whole(stored, store)
        calibrations = opened.calibrations()
    if isinstance(result, HandResult):
        raise OutputError(f"shaft {shaft} was measured on a hand bench, which has no press; there is nothing to draw")
    if result.calibration not in calibrations:
        raise StoreError(f"{store}: calibration {result.calibration!r} is not kept there; recompute the shaft")
    calibration = calibrations[result.calibration].calibration(store.file)
    run = raw_run(stored.run, store, archive)
    expanded = Coverage().k(None) * result.u_hysteresis_pct
    words = f"hysteresis {with_uncertainty(result.hysteresis_pct, expanded, 2)} %"
    with paper(out, 8.0, 8.0) as figure:
        draw_force(figure, run, branches(run, calibration, result.slip_pct), words)
    _say(out)


@plot.command("batch", epilog="Example: midspan plot batch 1 --out batch-1.png")
def batch(
    number: Annotated[int, typer.Argument(min=1, help="Number of the batch.", metavar="BATCH")],
    out: Out = None,
    bands: Annotated[Path | None, typer.Option(help="Tolerance bands to draw (TOML).")] = None,
    store: StoreAt = STORE,
    k: Factor = None,
) -> None:
    """Every shaft of a batch against the bands; check standards are not among them."""
    from midspan.decision.bands import load_bands
    from midspan.report.picture import paper
    from midspan.report.plot_batch import draw_batch
    from midspan.sets.stock import each_once

    limits = None if bands is None else load_bands(bands)
    out = out or named_after("batch", number, ".svg")
    with _open(store, out) as opened:
        stored = each_once(opened, opened.batch(number))
    if not stored:
        raise StoreError(f"{store}: batch {number} has no shafts; list the batches with: midspan export")
    with paper(out, 8.0, 8.0) as figure:
        draw_batch(figure, f"Batch {number}", stored, limits, k)
    _say(out)


@plot.command("set", epilog="Example: midspan plot set 'spring 1' --out spring-1.pdf")
def matched(
    name: Annotated[str, typer.Argument(help="Name of the set.", metavar="SET")],
    out: Out = None,
    store: StoreAt = STORE,
    k: Factor = None,
) -> None:
    """The shafts of a kept set beside their mean."""
    from midspan.report.picture import paper
    from midspan.report.plot_set import draw_set, height_in
    from midspan.report.sets_view import present, reviewed
    from midspan.sets.registry import Sets
    from midspan.sets.stock import spoken_against

    out = out or named_after("set", name, ".svg")
    with _open(store, out) as opened:
        shafts = present(opened, Sets(opened).named(name))
        if len(shafts) < 2:
            raise OutputError(f"set {name!r} has {len(shafts)} shafts now; there is nothing to compare")
        review = reviewed(opened, shafts, k)
        against = spoken_against(opened, [shaft.shaft for shaft in shafts])
    with paper(out, 8.0, height_in(len(shafts))) as figure:
        draw_set(figure, name, review)
    _say(out)
    for number, reason in against.items():
        aside(f"shaft {number} should no longer be in it: {reason}")


@plot.command("check", epilog="Example: midspan plot check 'bar 1' --out bar-1.png")
def check(
    label: Annotated[str, typer.Argument(help="Label of the check standard.")],
    out: Out = None,
    quantity: Annotated[Quantity, typer.Option(help="What of its results is drawn.")] = Quantity.SPINE,
    store: StoreAt = STORE,
) -> None:
    """Control chart of a check standard over all its results."""
    from midspan.report.picture import check_ending
    from midspan.report.plot_study import draw_chart
    from midspan.study.control_chart import ChartBasis, individuals_chart, weighted_mean

    out = out or named_after("check", label, ".svg")
    check_ending(out)
    rows = sorted(of_labels(store, [label], quantity), key=lambda row: row.day)
    chart = individuals_chart(*charted(rows), ChartBasis(enough_of(rows)))
    draw_chart(chart, weighted_mean(chart), out, quantity.words, label)
    _say(out)


def _open(store: StorePlace, out: Path) -> "Store":
    """Open the store after checking that the picture can have its name."""
    from midspan.report.picture import check_ending

    check_ending(out)  # refuses a bad name before anything is read
    return store.open_to_read()


def _say(out: Path) -> None:
    """Print the name of the picture on standard error."""
    aside(f"picture: {out}")
