"""What the commands of matched sets share: reading the shafts of a set, looking at it, and listing them."""

from collections.abc import Mapping, Sequence
from itertools import islice

from midspan.base.formatting import printable
from midspan.sets.difference_uncertainty import MemberResult
from midspan.sets.registry import KeptSet
from midspan.sets.review import Review, review
from midspan.sets.stock import StockShaft, full_results, shafts_of
from midspan.store.database import Store


def reviewed(store: Store, shafts: Sequence[StockShaft], k: float) -> Review:
    """A set looked at with the whole results of its shafts."""
    return review(shafts, results_of(store, shafts), k)


def all_reviewed(store: Store, sets: Mapping[str, Sequence[StockShaft]], k: float) -> dict[str, Review]:
    """Many sets looked at, by name; all results are read at once."""
    whole = iter(results_of(store, [one for shafts in sets.values() for one in shafts]))
    return {name: review(shafts, list(islice(whole, len(shafts))), k) for name, shafts in sets.items()}


def results_of(store: Store, shafts: Sequence[StockShaft]) -> list[MemberResult]:
    """Whole results of shafts in their order, each with the screw's lead where its calibration is kept."""
    whole, calibrations = full_results(store, shafts), store.calibrations()
    found = []
    for one in shafts:
        result = whole[one.result]
        calibration = calibrations.get(result.calibration or "")
        found.append(MemberResult(one.u_spine_thou, result, None if calibration is None else calibration.lead_mm))
    return found


def present(store: Store, kept: KeptSet) -> list[StockShaft]:
    """The shafts that are in a set, as they were measured last."""
    found = shafts_of(store, kept.present)
    return [found[number] for number in kept.present]


def listed(numbers: Sequence[int] | Sequence[str]) -> str:
    """Numbers or names one after another."""
    return ", ".join(printable(str(one)) for one in numbers)
