"""Shafts of matched sets read from the store, for all commands that show a set."""

from collections.abc import Mapping, Sequence
from itertools import islice

from midspan.base.formatting import printable
from midspan.sets.difference_uncertainty import MemberResult
from midspan.sets.registry import KeptSet
from midspan.sets.review import Review, review
from midspan.sets.stock import StockShaft, full_results, shafts_of
from midspan.store.database import Store


def reviewed(store: Store, shafts: Sequence[StockShaft], asked_k: float | None = None) -> Review:
    """Review a set with the whole results of its shafts.

    Parameters
    ----------
    store : Store
        The open store.
    shafts : Sequence[StockShaft]
        Its shafts.
    asked_k : float or None
        Coverage factor of each ±, None for 95 %.

    Returns
    -------
    Review
        Mean, spread and distances of the set.
    """
    return review(shafts, results_of(store, shafts), asked_k)


def all_reviewed(
    store: Store, sets: Mapping[str, Sequence[StockShaft]], asked_k: float | None = None
) -> dict[str, Review]:
    """Review many sets; all results are read at once.

    Parameters
    ----------
    store : Store
        The open store.
    sets : Mapping[str, Sequence[StockShaft]]
        Shafts by name of the set.
    asked_k : float or None
        Coverage factor of each ±, None for 95 %.

    Returns
    -------
    dict[str, Review]
        Reviews by name of the set.
    """
    whole = iter(results_of(store, [shaft for shafts in sets.values() for shaft in shafts]))
    return {name: review(shafts, list(islice(whole, len(shafts))), asked_k) for name, shafts in sets.items()}


def results_of(store: Store, shafts: Sequence[StockShaft]) -> list[MemberResult]:
    """Read the whole results of shafts, each with the lead of the screw if its calibration is kept.

    Parameters
    ----------
    store : Store
        The open store.
    shafts : Sequence[StockShaft]
        The shafts.

    Returns
    -------
    list[MemberResult]
        In the order of the shafts.
    """
    whole, calibrations = full_results(store, shafts), store.calibrations()
    found = []
    for shaft in shafts:
        result = whole[shaft.result]
        calibration = calibrations.get(result.calibration or "")
        found.append(MemberResult(shaft.u_spine_thou, result, None if calibration is None else calibration.lead_mm))
    return found


def present(store: Store, kept: KeptSet) -> list[StockShaft]:
    """Read the shafts that are in a set, as they were measured last.

    Parameters
    ----------
    store : Store
        The open store.
    kept : KeptSet
        The set.

    Returns
    -------
    list[StockShaft]
        In the order of the set.
    """
    found = shafts_of(store, kept.present)
    return [found[number] for number in kept.present]


def listed(numbers: Sequence[int] | Sequence[str]) -> str:
    """Return numbers or names separated by commas.

    Parameters
    ----------
    numbers : Sequence[int] or Sequence[str]
        The numbers or names.

    Returns
    -------
    str
        A text without control characters.

    Examples
    --------
    >>> listed([3, 5])
    '3, 5'
    """
    return ", ".join(printable(str(entry)) for entry in numbers)
