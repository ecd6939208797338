"""What `midspan sets weigh --scale` does: one shaft, or one after another, each weight noted as soon as it stands."""

import sys
import time
from collections.abc import Callable
from pathlib import Path

from midspan.base.clock import now_ms
from midspan.base.errors import MidspanError, ReadingsError, StoreError
from midspan.base.formatting import printable
from midspan.base.units import GRAM_PER_GRAIN
from midspan.sets.registry import Sets
from midspan.sets.scale import Pan, Scale, ScalePort, load_scale, wait_until_empty, weigh
from midspan.sets.weights import ShaftWeight
from midspan.store.database import Store

Asked = Callable[[str], str]


def by_scale(
    store_file: Path,
    scale_file: Path,
    shaft: str | None,
    ask: Asked = input,
    clock: Callable[[], float] = time.monotonic,
) -> None:
    """Note the weight of the shaft on the scale; without a shaft ask for one after another until none is named."""
    scale = load_scale(scale_file)
    with Store.open(store_file, create=False) as store, ScalePort(scale.port, scale.baud) as pan:
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
                _complain(error)


def _note(sets: Sets, pan: Pan, scale: Scale, name: str, clock: Callable[[], float]) -> ShaftWeight:
    sets.number(name)  # before anything is weighed: a name that nobody knows is said at once
    found = weigh(pan, scale, f"shaft {name}", clock)
    sets.weigh({name: found}, now_ms())
    grains = found.weight_g / GRAM_PER_GRAIN
    print(printable(f"shaft {name}: {grains:.2f} grains ({found.weight_g:.3f} g), noted"))
    return found


def _answer(ask: Asked) -> str:
    try:
        return ask("shaft: ").strip()
    except EOFError:
        return ""


def _complain(error: MidspanError) -> None:
    print(f"{error}", file=sys.stderr)
