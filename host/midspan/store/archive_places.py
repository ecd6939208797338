"""Where the raw readings of a stored run are: files move with their database, and its rows are never changed.

A run names its file as it was called when it was measured. A database that was brought back from a backup has a list
beside it that says where each of these files is now.

>>> [str(one) for one in places("/attic/readings.avro", Path("mine/results.db"))]
['/attic/readings.avro', 'mine/readings.avro']
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path

from midspan.base.errors import StoreError
from midspan.base.files import reading


def list_of(store_file: Path) -> Path:
    """The list of a database; it need not be there.

    >>> list_of(Path("results.db")).name
    'results.db-archives.json'
    """
    return store_file.with_name(f"{store_file.name}-archives.json")


def list_text(files: Mapping[str, Sequence[str]]) -> str:
    """The list as text: for each name that runs give, the files, named from the folder of the database."""
    return json.dumps(files, indent=1, ensure_ascii=False) + "\n"


def places(named: str, store_file: Path) -> list[Path]:
    """Where a file of readings may be, the likeliest first: as listed, under its name, beside the database.

    Raises StoreError when the list is none.
    """
    own = Path(named)
    return list(dict.fromkeys((*listed(store_file).get(named, ()), own, store_file.parent / own.name)))


def listed(store_file: Path) -> dict[str, list[Path]]:
    """Where the list says that files are, by the name that runs give them; nothing when there is no list."""
    path = list_of(store_file)
    if not path.is_file():
        return {}
    with reading(path, StoreError):
        content = path.read_bytes()
    try:
        found = json.loads(content)
        return {str(name): [store_file.parent / one for one in files] for name, files in found.items()}
    except (ValueError, TypeError, AttributeError) as error:
        raise StoreError(f"{path}: is no list of archives ({error}); restore it from the backup") from error
