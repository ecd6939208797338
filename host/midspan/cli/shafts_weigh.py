"""`midspan shafts weigh`: what shafts weigh, typed, from a table, or from a scale.

On a scale one shaft, or one after another, each weight noted as soon as it stands.
"""

import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from midspan.base.clock import now_ms
from midspan.base.errors import ReadingsError, StoreError
from midspan.base.formatting import printable
from midspan.cli.options import STORE, StoreAt, is_typed
from midspan.cli.screen import aside
from midspan.store.place import StorePlace

if TYPE_CHECKING:
    from midspan.sets.registry import Sets
    from midspan.sets.scale import Pan, Scale
    from midspan.sets.weights import ShaftWeight

Ask = Callable[[str], str]


def weigh(
    context: typer.Context,
    shaft: Annotated[str | None, typer.Argument(help="Number or label of the shaft.")] = None,
    weight: Annotated[str | None, typer.Argument(help="Its weight, as the scale shows it.")] = None,
    unit: Annotated[
        str | None, typer.Option(help="grains (gr) or grams (g).", show_default="as the workspace shows weights")
    ] = None,
    csv: Annotated[Path | None, typer.Option(help="Table with columns shaft, and weight_gr or weight_g.")] = None,
    scale: Annotated[
        Path | None, typer.Option(help="Scale's file (TOML): weigh the shaft, or without one, shaft after shaft.")
    ] = None,
    store: StoreAt = STORE,
) -> None:
    """Note what shafts weigh: typed, from a table, or from a scale on a serial line."""
    from midspan.base.shown_units import shown_units
    from midspan.sets.registry import Sets
    from midspan.sets.weights import weight_of, weights_in

    if not is_typed(context, "scale") and (weight is not None or csv is not None):
        scale = None  # that of the workspace is not needed
    if scale is not None and csv is None and weight is None and unit is None:
        by_scale(store, scale, shaft)
        return
    if scale is None and csv is not None and shaft is None:
        weights = weights_in(csv)
    elif scale is None and csv is None and shaft is not None and weight is not None:
        weights = {shaft: weight_of(weight, unit or shown_units().weight, f"shaft {shaft}")}
    else:
        raise ReadingsError("say which shaft and its weight; or give a --csv with them, or a --scale")
    with store.open(create=False) as opened:
        number = Sets(opened).weigh(weights, now_ms())
    print(f"{number} weight{'s' if number != 1 else ''} noted in {store}")


def by_scale(
    place: StorePlace,
    scale_file: Path,
    shaft: str | None,
    ask: Ask = input,
    clock: Callable[[], float] = time.monotonic,
) -> None:
    """Store the weight of the shaft on the scale; without a shaft, ask for shafts until none is named."""
    from midspan.sets.registry import Sets
    from midspan.sets.scale import ScalePort, load_scale, wait_until_empty

    scale = load_scale(scale_file)
    with place.open(create=False) as store, ScalePort(scale.port, scale.baud) as pan:
        sets = Sets(store)
        if shaft is not None:
            _note(sets, pan, scale, shaft, clock)
            return
        print("Lay one shaft at a time on the scale, then say which it is; an empty line ends.")
        while name := _answer(ask):
            try:
                last = _note(sets, pan, scale, name, clock)
                print("take it off")
                wait_until_empty(pan, scale, last, f"shaft {name}", clock)
            except (ReadingsError, StoreError) as error:
                aside(error)


def _note(sets: "Sets", pan: "Pan", scale: "Scale", name: str, clock: Callable[[], float]) -> "ShaftWeight":
    from midspan.base.units import GRAM_PER_GRAIN
    from midspan.sets.scale import weigh

    sets.number(name)  # refuses an unknown name before anything is weighed
    found = weigh(pan, scale, f"shaft {name}", clock)
    sets.weigh({name: found}, now_ms())
    grains = found.weight_g / GRAM_PER_GRAIN
    print(printable(f"shaft {name}: {grains:.2f} grains ({found.weight_g:.3f} g), noted"))
    return found


def _answer(ask: Ask) -> str:
    try:
        return ask("shaft: ").strip()
    except EOFError:
        return ""
