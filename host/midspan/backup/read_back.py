"""Reads back every run and every result of a database that lies beside its files, to know that nothing was lost."""

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
    """How many nights, runs and results there are, and of how many runs the readings are not, by their file's name.

    `trouble` says what was wrong with a file, where it was not only that it is missing.
    """

    nights: int
    runs: int
    results: int
    lacking: dict[str, int]
    trouble: dict[str, str]


def read_back(store: Store, files: Mapping[str, list[Path]]) -> ReadBack:
    """Read everything; `files` says where each file of readings lies that runs name.

    Raises BackupError when the database or a result in it is spoilt.
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
    return ReadBack(content.nights, sum(map(len, content.runs.values())), content.results, lacking, trouble)
