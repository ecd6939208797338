"""Keys and words that a file of settings can have from Midspan; everything else in it is a person's own.

They are taken from the models that check these files, so a new key is known without being named here.

>>> "attended" in known_keys(), "word" in known_keys(), sorted(known_keys()["from"])
(True, False, ['hand', 'slot'])
>>> sorted(secret_keys())
['apprise', 'webhook']
"""

from collections.abc import Iterable, Iterator
from functools import cache
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel, SecretStr

from midspan.calibrate.reference_bar import BarFile
from midspan.decision.bands import Bands
from midspan.hand_bench.bench import HandBench
from midspan.hand_bench.masses import MassSet
from midspan.measurement.calibration import Calibration
from midspan.report.label_sheet import Sheet
from midspan.sets.nominal_sizes import Sizes
from midspan.sets.scale import Scale
from midspan.sorting.plan import SortPlan
from midspan.workspace.settings import Workspace

FILES = (SortPlan, Calibration, Bands, HandBench, MassSet, BarFile, Sizes, Scale, Sheet, Workspace)


@cache
def known_keys() -> dict[str, frozenset[str]]:
    """Return each key of any file of settings, with the words that its value may have because Midspan defines them."""
    known: dict[str, frozenset[str]] = {}
    for key, kinds in _fields():
        words = {word for kind in kinds if get_origin(kind) is Literal for word in get_args(kind)}
        known[key] = known.get(key, frozenset()) | frozenset(map(str, words))
    return known


@cache
def secret_keys() -> frozenset[str]:
    """Return the keys whose value is a secret or an array of secrets."""
    return frozenset(key for key, kinds in _fields() if SecretStr in kinds)


def _fields() -> Iterator[tuple[str, list[Any]]]:
    """Yield the key of every field of all files, with its type and all parts of that type."""
    for model in _models(FILES):
        for name, field in model.model_fields.items():
            yield field.alias or name, [*_kinds_in(field.annotation)]


def _models(kinds: Iterable[Any]) -> Iterator[type[BaseModel]]:
    """Yield the models among these types, and the models of their fields."""
    for kind in kinds:
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            yield kind
            for field in kind.model_fields.values():
                yield from _models(_kinds_in(field.annotation))


def _kinds_in(kind: Any) -> Iterator[Any]:
    """Yield a type and all types that it is built from."""
    yield kind
    for inner in get_args(kind):
        yield from _kinds_in(inner)
