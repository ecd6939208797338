"""Find the result of a shaft by its number or label, and the raw readings behind a result."""

import re
from pathlib import Path

from midspan.archive.raw_run import RawRun
from midspan.archive.reader import Archive
from midspan.base.errors import ArchiveError, MidspanError, OutputError, StoreError
from midspan.base.plain_text import brief
from midspan.hand_bench.result import HandResult
from midspan.measurement.result import ShaftResult, Unmeasured
from midspan.measurement.result_form import ResultKind
from midspan.store.database import Store
from midspan.store.detail_kinds import DetailKind
from midspan.store.details import LONGEST
from midspan.store.evaluation import Origin, RunReference, StoredResult
from midspan.store.identity import known_identities
from midspan.store.place import StorePlace
from midspan.store.records import Records
from midspan.store.stored_result import ListedResult, OlderResult

HIGHEST_SHAFT = 2**31 - 1
NUMBER = re.compile(r"(?:midspan shaft |#)?\s*0*([0-9]{1,10})", re.IGNORECASE | re.ASCII)
ARTICLE_DIGITS = 8  # EAN-8, the shortest number of an article in a shop
MOST_NAMED = 6  # numbers listed of shafts with one label


def read_name(store: Store, text: str) -> int:
    """Return the number of the shaft that a person or a reader of codes means.

    Understood are the text of a label's code, a number with or without `#` and leading zeros, and a label in any case.
    A number comes before a label: the code on a shaft must not lead to another shaft with the same name. A label that
    no shaft bears any more means the shaft that bore it last.

    Parameters
    ----------
    store : Store
        Open database.
    text : str
        What was typed or scanned.

    Returns
    -------
    int
        Number of a measured shaft; of a shaft with several numbers, the one that bears the label, or the highest.

    Raises
    ------
    StoreError
        No shaft is meant (code "never_measured"), several shafts bear the label ("two_shafts"), or a scan is of
        something else than a label of a shaft ("not_a_label").
    """
    name = " ".join(text.split())
    number = number_in(name)
    with Records.of(store) as records:
        if number is not None and records.is_measured(number):
            return number
        found = bearers(records, name)
        if found:
            if len(found) > 1 and len({*map(known_identities(records).key, found)}) > 1:
                those = ", ".join(str(bearer) for bearer in sorted(found)[:MOST_NAMED])
                raise StoreError(
                    f"{store.place}: {name!r} is the label of shafts {those}; give the number instead",
                    code="two_shafts",
                )
            return max(found)
    if number is None and _is_other_scan(name):
        raise StoreError(
            f"{brief(name)!r} is not the code of a shaft's label; scan the label, or type the number or label",
            code="not_a_label",
        )
    what = f"shaft {number}; check the number" if number is not None else f"a shaft labelled {brief(name)!r}; check it"
    raise StoreError(f"{store.place}: no measurement of {what}", code="never_measured")


def bearers(records: Records, label: str) -> set[int]:
    """Return the numbers of the shafts that a label means.

    Parameters
    ----------
    records : Records
        Open records of the store.
    label : str
        Label as it was typed.

    Returns
    -------
    set[int]
        Numbers of the shafts that bear it; without any, those that bear it in other capitals, else the last that bore
        it before. Empty if there is none.
    """
    return records.numbers_of(label) or records.numbers_like(label) or records.numbers_before(label)


def number_in(text: str) -> int | None:
    """Return the number of a shaft in what was typed or scanned.

    Parameters
    ----------
    text : str
        A number, perhaps with `#` or zeros in front, or the text of a label's code; a reader may send capitals.

    Returns
    -------
    int | None
        The number, None if the text is something else or a number that no shaft can have.

    Examples
    --------
    >>> number_in("0012"), number_in("#12"), number_in("MIDSPAN SHAFT 12"), number_in("blue-12")
    (12, 12, 12, None)
    """
    found = NUMBER.fullmatch(text.strip())
    return int(found[1]) if found and int(found[1]) <= HIGHEST_SHAFT else None


def _is_other_scan(name: str) -> bool:
    """Return True if a text looks like a scan of something else: an address, a long text, an article number."""
    return "://" in name or len(name) > LONGEST[DetailKind.LABEL] or (name.isdecimal() and len(name) >= ARTICLE_DIGITS)


def newest(store: Store, shaft: str) -> StoredResult:
    """Return the result that counts for a shaft, under whichever of its numbers it was measured.

    Parameters
    ----------
    store : Store
        Open database.
    shaft : str
        Number or label, as `read_name` takes it.

    Returns
    -------
    StoredResult
        The result that counts.

    Raises
    ------
    StoreError
        As `read_name`; or all measurements of the shaft are void (code "all_void").
    """
    number = read_name(store, shaft)
    stored = counting(store, number)
    if stored is None:
        raise StoreError(
            f"{store.place}: every measurement of shaft {number} is void; measure it again, or see: "
            f"midspan shafts show {number}",
            code="all_void",
        )
    return stored


def counting(store: Store, shaft: int) -> StoredResult | None:
    """Return the result that counts for a shaft, from all its numbers: the newest that was measured here.

    Parameters
    ----------
    store : Store
        Open database.
    shaft : int
        Any number of the shaft.

    Returns
    -------
    StoredResult | None
        The result, None if no measurement of the shaft counts.
    """
    with Records.of(store) as records:
        numbers = known_identities(records).numbers(shaft)
    found = [stored for number in numbers if (stored := store.latest(number)) is not None]
    return max(found, key=_sureness, default=None)


def _sureness(stored: StoredResult) -> tuple[bool, bool, int]:
    """Return a sort key: from a list, then imported, then measured here; of these the newest last."""
    return not isinstance(stored.result, ListedResult), stored.origin is Origin.MEASURED, stored.run_id


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
        The measurement gave no result (code "no_result"), another version stored it in another form ("older_form"),
        or it is from a list ("listed").
    """
    result, shaft = stored.result, stored.run.shaft
    if isinstance(result, Unmeasured):
        raise StoreError(f"{place}: shaft {shaft} gave no result: {'; '.join(result.reasons)}", code="no_result")
    if not isinstance(result, OlderResult):
        return result
    if isinstance(result, ListedResult):
        raise StoreError(
            f"{place}: shaft {shaft} is known from a list only ({Path(stored.run.archive).name}); measure it, or see: "
            f"midspan shafts show {shaft}",
            code="listed",
        )
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
