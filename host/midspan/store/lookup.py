"""A stored result as it was evaluated, found by the shaft's number or label, and its raw readings."""

from pathlib import Path

from midspan.archive.raw_run import RawRun
from midspan.archive.reader import Archive
from midspan.base.errors import ArchiveError, MidspanError, OutputError, StoreError
from midspan.base.formatting import read_code
from midspan.hand_bench.result import HandResult
from midspan.measurement.result import ShaftResult, Unmeasured
from midspan.measurement.result_form import ResultKind
from midspan.store.database import Store
from midspan.store.evaluation import RunReference, StoredResult
from midspan.store.place import StorePlace
from midspan.store.stored_result import OlderResult

HIGHEST_SHAFT = 2**31 - 1


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
    result, shaft = stored.result, stored.run.shaft
    if isinstance(result, Unmeasured):
        raise StoreError(f"{place}: shaft {shaft} gave no result: {'; '.join(result.reasons)}")
    if not isinstance(result, OlderResult):
        return result
    again = f"midspan {'hand ' if result.kind is ResultKind.HAND_BENCH else ''}recompute {stored.run.archive}"
    raise StoreError(
        f"{place}: the result of shaft {shaft} has the form of another Midspan ({', '.join(result.differs)}); "
        f"make it again from its readings with: {again}"
    )


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
