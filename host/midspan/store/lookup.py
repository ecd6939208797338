"""Find the result of a shaft by its number or label, and the raw readings behind a result."""

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
    """Return the result that counts for a shaft.

    A number comes before a label: the code on a shaft must not lead to another shaft with the same name.

    Parameters
    ----------
    store : Store
        Open database.
    shaft : str
        Number, label, or text of the code printed on the shaft's label.

    Returns
    -------
    StoredResult
        The result that counts.

    Raises
    ------
    StoreError
        The shaft was never measured into this database.
    """
    name = read_code(shaft)
    by_number = name.isdecimal() and int(name) <= HIGHEST_SHAFT
    stored = (store.latest(int(name)) if by_number else None) or store.latest(name)
    if stored is None:
        raise StoreError(
            f"{store.place}: no shaft with the number or label {shaft!r} was measured; check the name",
            code="never_measured",
        )
    return stored


def whole(stored: StoredResult, place: StorePlace) -> ShaftResult | HandResult:
    """Return a stored result with all its quantities.

    Parameters
    ----------
    stored : StoredResult
        Stored result.
    place : StorePlace
        Database to name in an error.

    Returns
    -------
    ShaftResult | HandResult
        Result of a gauge or of a hand bench.

    Raises
    ------
    StoreError
        The measurement gave no result (code "no_result"), or another version stored it in another form (code
        "older_form").
    """
    result, shaft = stored.result, stored.run.shaft
    if isinstance(result, Unmeasured):
        raise StoreError(f"{place}: shaft {shaft} gave no result: {'; '.join(result.reasons)}", code="no_result")
    if not isinstance(result, OlderResult):
        return result
    again = f"midspan {'hand ' if result.kind is ResultKind.HAND_BENCH else ''}recompute {stored.run.archive}"
    raise StoreError(
        f"{place}: another version of Midspan stored the result of shaft {shaft} in another form "
        f"({', '.join(result.differs)}); evaluate its readings again with: {again}",
        code="older_form",
    )


def raw_run(reference: RunReference, place: StorePlace, archive: Path | None = None) -> RawRun:
    """Return the raw readings of a measurement.

    Parameters
    ----------
    reference : RunReference
        Measurement.
    place : StorePlace
        Database; its list of moved archives and its folder are searched.
    archive : Path | None
        Archive to read, None to search where the measurement's own archive is now.

    Returns
    -------
    RawRun
        The readings.

    Raises
    ------
    OutputError
        The archive is missing, or holds other readings.
    ArchiveError
        The archive is damaged at these readings.
    """
    named = [archive] if archive else place.readings(reference.archive)
    found = [path for path in named if path.is_file()]
    if not found:
        raise OutputError(
            f"{named[-1]}: the readings of shaft {reference.shaft} are missing; put the file beside the database"
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
        other = f"holds other readings than those of shaft {reference.shaft}; name its own archive"
        troubles.append(OutputError(f"{path}: {other}"))
    raise troubles[0]
