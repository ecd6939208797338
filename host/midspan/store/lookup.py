"""A stored result as it was evaluated, found by the shaft's number or label, and its raw readings."""

from math import nan
from pathlib import Path
from typing import Any

from midspan.archive.raw_run import RawRun
from midspan.archive.reader import Archive
from midspan.base.errors import ArchiveError, MidspanError, OutputError, StoreError
from midspan.base.formatting import read_code
from midspan.hand_bench.result import HandResult, is_hand_result
from midspan.measurement.result import ShaftResult
from midspan.measurement.spine_budget import CAUSES
from midspan.store.database import RunReference, Store, StoredResult
from midspan.store.place import StorePlace

HIGHEST_SHAFT = 2**31 - 1
MAY_BE_NONE = {"stiff_side_deg", "u_stiff_side_deg", "dof_spine", "dof_spread", "dof_runout", "dof_causes"}


def newest(store: Store, shaft: str) -> StoredResult:
    """The newest result of a shaft, by its number, its label or what its label's code says; StoreError when none.

    A number comes first: the code on a shaft must not show another one that was named like it.
    """
    name = read_code(shaft)
    by_number = name.isdecimal() and int(name) <= HIGHEST_SHAFT
    stored = (store.latest(int(name)) if by_number else None) or store.latest(name)
    if stored is None:
        raise StoreError(f"{store.place}: nothing was measured under the number or label {shaft!r}; check the name")
    return stored


def whole(stored: StoredResult, place: StorePlace) -> ShaftResult | HandResult:
    """The result as it was evaluated; StoreError when there is none or another version of Midspan stored it."""
    if stored.result is None:
        raise StoreError(f"{place}: shaft {stored.run.shaft} gave no result: {'; '.join(stored.decision.reasons)}")
    by_hand = is_hand_result(stored.result)
    try:
        if by_hand:
            return HandResult.from_dict(stored.result)
        result = ShaftResult.from_dict(_nan_for_null(stored.result))
        if len(result.u_causes) == len(CAUSES):
            return result
        raise StoreError(f"the result of shaft {result.shaft} has causes of another Midspan; make it again")
    except StoreError as error:
        again = f"midspan {'hand ' if by_hand else ''}recompute {stored.run.archive}"
        raise StoreError(f"{place}: {error} with: {again}") from error


def raw_run(reference: RunReference, place: StorePlace, archive: Path | None = None) -> RawRun:
    """The raw readings of a run, from this archive or wherever its own is now.

    Raises OutputError when they are not there, ArchiveError when what is there is spoilt.
    """
    named = [archive] if archive else place.readings(reference.archive)
    found = [path for path in named if path.is_file()]
    if not found:
        raise OutputError(
            f"{named[-1]}: the readings of shaft {reference.shaft} are not there; lay it beside the database"
        )
    troubles: list[MidspanError] = []
    for path in found:
        try:
            run = Archive.open(path).run_at(reference.byte_offset)
        except ArchiveError as error:
            troubles.append(error)
            continue
        if (run.shaft, run.started_ms) == (reference.shaft, reference.started_ms):
            return run
        other = f"holds other readings than those of shaft {reference.shaft}; bring its own archive"
        troubles.append(OutputError(f"{path}: {other}"))
    raise troubles[0]


def _nan_for_null(values: dict[str, Any]) -> dict[str, Any]:
    """The store keeps a number that was none as null; here it is none again."""
    return {name: value if name in MAY_BE_NONE else _nan_for_none(value) for name, value in values.items()}


def _nan_for_none(value: Any) -> Any:
    if isinstance(value, list):
        return [_nan_for_none(one) for one in value]
    return nan if value is None else value
