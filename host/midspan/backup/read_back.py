"""Reads back every run and every result of a database that lies beside its files, to know that nothing was lost."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from midspan.backup.belongings import Place, runs_in
from midspan.base.errors import BackupError, MidspanError
from midspan.decision.decision import Outcome
from midspan.measurement.result import Unmeasured
from midspan.measurement.result_form import ResultKind
from midspan.store.database import Store
from midspan.store.place import StorePlace
from midspan.store.stored_result import finite, read_result
from midspan.store.tables import DecisionRow, NightRow, ResultRow, RunRow

NOTHING = Unmeasured(0, "", ())
AT_A_TIME = 1000  # rows, so that memory stays flat


@dataclass(frozen=True)
class ReadBack:
    """How many nights, runs and results there are, and of how many runs the readings are not, by their file's name.

    `trouble` says what was wrong with a file, where it was not only that it is missing.
    """

    nights: int
    runs: int
    results: int
    lacking: dict[str, int]
    trouble: dict[str, str]


def runs_by_name(session: Session) -> dict[str, set[Place]]:
    """Where the runs of a database say that their readings are."""
    found: dict[str, set[Place]] = defaultdict(set)
    columns = select(RunRow.archive, RunRow.byte_offset, RunRow.shaft, RunRow.started_ms)
    for archive, offset, shaft, started_ms in session.execute(columns):
        found[archive].add((offset, shaft, started_ms))
    return found


def read_back(store: Store, files: Mapping[str, list[Path]]) -> ReadBack:
    """Read everything; `files` says where each file of readings lies that runs name.

    Raises BackupError when the database or a result in it is spoilt.
    """
    with store.transaction() as session:
        (state,) = session.connection().exec_driver_sql("PRAGMA integrity_check(1)").one()
        if state != "ok":
            raise BackupError(f"{store.place}: is damaged ({state}); take another backup")
        named = runs_by_name(session)
        lacking, trouble = {}, {}
        for name, runs in named.items():
            missing = set(runs)
            for path in files.get(name, []):
                try:
                    missing.difference_update(runs_in(path))
                except MidspanError as error:
                    trouble[name] = str(error)
            if missing:
                lacking[name] = len(missing)
        nights = session.scalar(select(func.count()).select_from(NightRow)) or 0
        return ReadBack(nights, sum(map(len, named.values())), _read_results(session, store.place), lacking, trouble)


def _read_results(session: Session, place: StorePlace) -> int:
    columns = select(
        ResultRow.id, ResultRow.kind, ResultRow.full, ResultRow.spine_thou, DecisionRow.outcome, DecisionRow.reasons
    )
    read = 0
    for number, kind, full, spine_thou, outcome, reasons in session.execute(
        columns.join(ResultRow.decision).execution_options(yield_per=AT_A_TIME)
    ):
        try:
            result = read_result(ResultKind(kind), full, NOTHING)
            spine = None if isinstance(result, Unmeasured) else finite(result.spine_thou)
            is_good = spine == spine_thou and isinstance(json.loads(reasons), list)
            Outcome(outcome)
        except ValueError:
            is_good = False
        if not is_good:
            raise BackupError(f"{place}: result {number} is spoilt; take another backup")
        read += 1
    if read != session.scalar(select(func.count()).select_from(ResultRow)):
        raise BackupError(f"{place}: there are results without a verdict; take another backup")
    return read
