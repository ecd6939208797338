"""Command line: matched sets from the stock of measured shafts."""

from pathlib import Path
from typing import Annotated

import typer

from midspan.cli.options import STORE, AsJson, Commands, FixedFactor, StoreFile

sets = typer.Typer(
    cls=Commands,
    help="Matched sets: choose them from the measured shafts, keep, refill and extend them.",
    epilog="Example: midspan sets make --number 12 --spine 3 --spread 2",
    no_args_is_help=True,
)

Batches = Annotated[list[int] | None, typer.Option("--batch", min=1, help="Only shafts of this batch; repeatable.")]
Bins = Annotated[list[str] | None, typer.Option("--bin", help="Only shafts of this bin; repeatable.")]
Distance = Annotated[float, typer.Option("--distance", min=5.0, max=300.0, help="Distance to the target in metres.")]
SetName = Annotated[str, typer.Argument(help="Name of the set.", metavar="SET")]


@sets.command("make", epilog="Example: midspan sets make --number 12 --spine 3 --spread 2 --weight 5 --keep spring")
def make(
    spine: Annotated[float, typer.Option(min=0.01, max=1000, help="Most that spines of a set may span, thou.")],
    number: Annotated[int, typer.Option(min=2, max=1000, help="Shafts in a set.")] = 12,
    spread: Annotated[
        float | None, typer.Option(min=0.01, max=1000, help="Most that their spreads around may span, thou.")
    ] = None,
    weight: Annotated[
        float | None, typer.Option(min=0.01, max=1000, help="Most that their weights may span, grains.")
    ] = None,
    runout: Annotated[
        float | None, typer.Option(min=0.01, max=1000, help="Most that their runouts may span, thou.")
    ] = None,
    batch: Batches = None,
    bins: Bins = None,
    keep: Annotated[str | None, typer.Option(help="Keep the sets: NAME 1, NAME 2, ...")] = None,
    distance: Distance = 70.0,
    thorough: Annotated[
        bool, typer.Option("--thorough", help="Search for proof in a larger stock too; may take minutes.")
    ] = False,
    store: StoreFile = STORE,
    as_json: AsJson = False,
    k: FixedFactor = 2.0,
) -> None:
    """Choose as many sets as the limits allow, then the tightest.

    Only accepted shafts are taken: none that is rejected, doubtful, suspect, spent or in a set. A number is no proof
    against cracks: look at each shaft before it is fletched, and never shoot one that is damaged.
    """
    from midspan.cli import sets_commands
    from midspan.sets.limits import Limits

    limits = Limits(number=number, spine_thou=spine, spread_thou=spread, weight_gr=weight, runout_thou=runout)
    sets_commands.make(
        store, limits, batch or [], bins or [], keep, distance, k, thorough=thorough, as_json=as_json
    )  # fmt: skip


@sets.command("stock", epilog="Example: midspan sets stock --batch 3")
def stock(batch: Batches = None, bins: Bins = None, store: StoreFile = STORE, as_json: AsJson = False) -> None:
    """Count what there is to choose from, and what is left out and why."""
    from midspan.cli import sets_commands

    sets_commands.stock(store, batch or [], bins or [], as_json=as_json)


@sets.command("show", epilog="Example: midspan sets show 'spring 1'")
def show(
    name: Annotated[
        str | None, typer.Argument(help="Name of the set; all are listed without it.", metavar="SET")
    ] = None,
    distance: Distance = 70.0,
    store: StoreFile = STORE,
    as_json: AsJson = False,
    k: FixedFactor = 2.0,
) -> None:
    """Show a kept set with its uncertainty, or list all."""
    from midspan.cli import sets_commands

    sets_commands.show(store, name, distance, k, as_json=as_json)


@sets.command("card", epilog="Example: midspan sets card 'spring 1'")
def card(
    name: SetName,
    out: Annotated[
        Path | None, typer.Option("--out", help="Files to write, without ending.", show_default="card-SET")
    ] = None,
    store: StoreFile = STORE,
    k: FixedFactor = 2.0,
) -> None:
    """Write the card that goes with a set, as HTML and PDF."""
    from midspan.cli import cards_commands

    cards_commands.card(store, name, out, k)


@sets.command("labels", epilog="Example: midspan sets labels --set 'spring 1' --out labels.pdf")
def labels(
    shafts: Annotated[list[str] | None, typer.Argument(help="Numbers or labels of shafts.", metavar="SHAFT")] = None,
    set_name: Annotated[str | None, typer.Option("--set", help="All shafts of this set.")] = None,
    sheet: Annotated[Path | None, typer.Option(help="Where labels lie on your paper (TOML).")] = None,
    out: Annotated[Path, typer.Option("--out", help="PDF file to write.")] = Path("labels.pdf"),
    skip: Annotated[int, typer.Option(min=0, help="Labels gone from the first sheet.")] = 0,
    store: StoreFile = STORE,
    k: FixedFactor = 2.0,
) -> None:
    """Write a sheet of shaft labels as PDF, each with a code of the shaft's number."""
    from midspan.cli import cards_commands

    cards_commands.labels(store, shafts or [], set_name, sheet, out, skip, k)


@sets.command("refill", epilog="Example: midspan sets refill 'spring 1' --lost 17 --keep")
def refill(
    name: SetName,
    lost: Annotated[list[str] | None, typer.Option(help="Number or label of a lost shaft; repeatable.")] = None,
    batch: Batches = None,
    keep: Annotated[bool, typer.Option("--keep", help="Put it into the set; the lost one is marked as spent.")] = False,
    distance: Distance = 70.0,
    store: StoreFile = STORE,
    as_json: AsJson = False,
    k: FixedFactor = 2.0,
) -> None:
    """Find the best replacement for a lost shaft."""
    from midspan.cli import sets_refill

    sets_refill.refill(store, name, lost or [], batch or [], distance, k, keep=keep, as_json=as_json)


@sets.command("extend", epilog="Example: midspan sets extend 'spring 1' --keep 'spring 1 b'")
def extend(
    name: SetName,
    number: Annotated[int | None, typer.Option(min=2, max=1000, help="Shafts; as many as in the first.")] = None,
    batch: Batches = None,
    keep: Annotated[str | None, typer.Option(help="Keep it under this name.")] = None,
    distance: Distance = 70.0,
    store: StoreFile = STORE,
    as_json: AsJson = False,
    k: FixedFactor = 2.0,
) -> None:
    """Find a second set that matches a kept one."""
    from midspan.cli import sets_refill

    sets_refill.extend(store, name, number, batch or [], keep, distance, k, as_json=as_json)


@sets.command("apart", epilog="Example: midspan sets apart 'spring 1'")
def apart(name: SetName, store: StoreFile = STORE) -> None:
    """Take a set apart: its shafts go back to the stock."""
    from midspan.cli import sets_commands

    sets_commands.take_apart(store, name)


@sets.command("weigh", epilog="Example: midspan sets weigh 12 312.4 --unit grains")
def weigh(
    shaft: Annotated[str | None, typer.Argument(help="Number or label of the shaft.")] = None,
    weight: Annotated[str | None, typer.Argument(help="Its weight, as the scale shows it.")] = None,
    unit: Annotated[str | None, typer.Option(help="grains or grams.")] = None,
    csv: Annotated[Path | None, typer.Option(help="Table with columns shaft, and weight_gr or weight_g.")] = None,
    scale: Annotated[
        Path | None, typer.Option(help="Scale's file (TOML): weigh the shaft, or without one, shaft after shaft.")
    ] = None,
    store: StoreFile = STORE,
) -> None:
    """Note what shafts weigh: typed, from a table, or from a scale on a serial line."""
    from midspan.cli import sets_shafts

    sets_shafts.weigh(store, shaft, weight, unit, csv, scale)


@sets.command("spent", epilog="Example: midspan sets spent 17 18 --why 'broke at the range'")
def spent(
    shafts: Annotated[list[str], typer.Argument(help="Numbers or labels of shafts.", metavar="SHAFT")],
    why: Annotated[str, typer.Option(help="A word on it.")] = "",
    back: Annotated[bool, typer.Option("--back", help="The contrary: they are stock again.")] = False,
    store: StoreFile = STORE,
) -> None:
    """Mark shafts as spent: no set gets them any more."""
    from midspan.cli import sets_shafts

    sets_shafts.mark(store, shafts, why, back=back)


By = Annotated[str, typer.Option(help="Who says so.")]
Why = Annotated[str, typer.Option(help="A word on it.")]
TakeBack = Annotated[bool, typer.Option("--back", help="The contrary: take back what was said of them.")]
TwoOrMore = Annotated[list[str], typer.Argument(help="Numbers of two shafts or more.", metavar="SHAFT SHAFT")]


@sets.command("twins", epilog="Example: midspan sets twins")
def twins(store: StoreFile = STORE, as_json: AsJson = False) -> None:
    """List shafts that are likely there under two numbers, as after a second night.

    Compared are the results of one gauge under one calibration, within what it repeats: for that a check standard has
    to be measured now and then.
    """
    from midspan.cli import sets_twins

    sets_twins.twins(store, as_json=as_json)


@sets.command("same", epilog="Example: midspan sets same 12 48 --by Ann --why 'there is only one in the rack'")
def same(
    shafts: TwoOrMore, by: By = "", why: Why = "", back: TakeBack = False, store: StoreFile = STORE
) -> None:  # fmt: skip
    """Say that numbers are of one shaft: it is there once, and what is noted under one number holds for all."""
    from midspan.cli import sets_twins

    sets_twins.say_of(store, shafts, None if back else True, by, why)


@sets.command("different", epilog="Example: midspan sets different 12 48 --by Ann --why 'both lie before me'")
def different(
    shafts: TwoOrMore, by: By = "", why: Why = "", back: TakeBack = False, store: StoreFile = STORE
) -> None:  # fmt: skip
    """Say that each number is a shaft of its own, however alike they are or what their label is."""
    from midspan.cli import sets_twins

    sets_twins.say_of(store, shafts, None if back else False, by, why)


@sets.command("vouch", epilog="Example: midspan sets vouch 17 --by Ann --why 'looked along it under a lens: no crack'")
def vouch(
    shafts: Annotated[list[str], typer.Argument(help="Numbers or labels of shafts.", metavar="SHAFT")],
    by: Annotated[str, typer.Option(help="Who vouches.")],
    why: Annotated[str, typer.Option(help="What was looked at, and what was seen.")],
    bands: Annotated[Path | None, typer.Option(help="Bands (TOML), where those of the verdict were not kept.")] = None,
    store: StoreFile = STORE,
) -> None:
    """Stand for shafts that were suspected, on record: they are judged again by their limits alone.

    For a suspected crack, or a check standard that was at fault and not the gauge. A reading that is itself in doubt
    needs another measurement instead.
    """
    from midspan.cli import sets_shafts

    sets_shafts.vouch_for(store, shafts, by, why, bands)


@sets.command("size", epilog="Example: midspan sets size 12 13 --sizes sizes.toml")
def size(
    sizes: Annotated[Path, typer.Option(help="Table of nominal sizes that you keep (TOML).")],
    shafts: Annotated[
        list[str] | None, typer.Argument(help="Shafts; the whole stock without.", metavar="SHAFT")
    ] = None,
    store: StoreFile = STORE,
    as_json: AsJson = False,
) -> None:
    """Name the nominal size of unmarked shafts."""
    from midspan.cli import sets_shafts

    sets_shafts.size(store, sizes, shafts or [], as_json=as_json)
