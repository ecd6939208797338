"""Read back every run and result of a copied database, to prove that nothing was lost."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from midspan.backup.belongings import runs_in
from midspan.base.errors import MidspanError
from midspan.store.copying import read_whole
from midspan.store.database import Store


@dataclass(frozen=True)
class ReadBack:
    """Counts of a database that was read completely, with its files of readings.

    Parameters
    ----------
    nights : int
        Number of sorting runs.
    runs : int
        Number of measurements, with the shafts that are known from a list only.
    results : int
        Number of results.
    lacking : dict[str, int]
        Number of measurements without readings, by the name of their file.
    trouble : dict[str, str]
        Fault of a file that is damaged rather than missing, by its name.
    """

    nights: int
    runs: int
    results: int
    lacking: dict[str, int]
    trouble: dict[str, str]


def read_back(store: Store, files: Mapping[str, list[Path]]) -> ReadBack:
    """Read every result of a database and every run in its files of readings.

    Parameters
    ----------
    store : Store
        Open database.
    files : Mapping[str, list[Path]]
        Where each file of readings is, by the name that runs give it.

    Returns
    -------
    ReadBack
        Counts, and what is missing.

    Raises
    ------
    BackupError
        The database or a result in it is damaged.
    """
    content = read_whole(store)
    lacking, trouble = {}, {}
    for name, runs in content.runs.items():
        missing = set(runs)
        for path in files.get(name, []):
            try:
                missing.difference_update(runs_in(path))
            except MidspanError as error:
                trouble[name] = str(error)
        if missing:
            lacking[name] = len(missing)
    runs_read = content.listed + sum(map(len, content.runs.values()))
    return ReadBack(content.nights, runs_read, content.results, lacking, trouble)
