"""Where results are, as a person names it, and what lies beside them. Nobody else makes a path from a store's name.

Today it is a file on this computer. Files move with their database, and its rows are never changed: a run names its
file of readings as it was called when it was measured. A database that was brought back from a backup has a list beside
it that says where each of these files is now.

>>> place = StorePlace.of("mine/results.db")
>>> [str(path) for path in place.readings("/attic/readings.avro")]
['/attic/readings.avro', 'mine/readings.avro']
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

from midspan.base.errors import ConfigurationError, StoreError
from midspan.base.files import reading

if TYPE_CHECKING:
    from midspan.store.database import Store

WAIT_S = 5.0  # for another program that is writing
ADDRESS = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*://")


@dataclass(frozen=True, slots=True)
class StorePlace:
    """The place of a database of results; as text it is what a person names it by."""

    file: Path

    @classmethod
    def of(cls, name: str, folder: Path = Path()) -> StorePlace:
        """Return the place that a person names, a file counted from `folder`.

        Raises ConfigurationError for an address of another computer.

        >>> StorePlace.of("attic://results")
        Traceback (most recent call last):
        midspan.base.errors.ConfigurationError: attic://results: a store at an address cannot be opened yet; name a file
        """
        if ADDRESS.match(name):
            raise ConfigurationError(f"{name:.200}: a store at an address cannot be opened yet; name a file")
        return cls(folder / name)

    def __str__(self) -> str:
        return str(self.file)

    def exists(self) -> bool:
        """Return whether there is a database, or anything else of its name."""
        return self.file.exists()

    def moved_to(self, folder: Path) -> StorePlace:
        """Return the place of a database of the same name in another folder."""
        return StorePlace(folder / self.file.name)

    # SQLAlchemy costs a third of a second, which a command that opens no store need not wait for.

    def open(self, *, create: bool = True, wait_s: float = WAIT_S) -> Store:
        """Open the store to write, or make it when there is none and `create` is true.

        `wait_s` is how long a call waits for another program that is writing. Raises StoreError also when the
        file is no database, another program's, or of another version of the tables.
        """
        from midspan.store.open_to_write import open_to_write

        return open_to_write(self, create=create, wait_s=wait_s)

    def open_to_read(self, wait_s: float = WAIT_S) -> Store:
        """Open a store through which SQLite itself refuses to write; it is closed like any other.

        Raises StoreError when there is no such file, or it is no database of results, damaged or of a newer version.
        """
        from midspan.store.open_to_read import open_to_read

        return open_to_read(self, wait_s)

    def open_for(self, *, writes: bool) -> Store:
        """Open a store that exists, for a command that only writes when it is told to keep something."""
        return self.open(create=False) if writes else self.open_to_read()

    def facts(self) -> list[tuple[str, int | str]]:
        """Return size, revision and how many rows each table has, by name and without a word of any row.

        Raises StoreError when the file cannot be opened as a database.
        """
        from midspan.store.facts import facts_of

        return list(facts_of(self.file))

    # What lies beside it

    def readings(self, named: str) -> list[Path]:
        """Return where a file of readings may be, the likeliest first: as listed, under its name, beside the database.

        Raises StoreError when the list is none.
        """
        own = Path(named)
        return list(dict.fromkeys((*self.listed_readings().get(named, ()), own, self.file.parent / own.name)))

    def listed_readings(self) -> dict[str, list[Path]]:
        """Return where the list says that files are, by the name that runs give them; empty when there is no list."""
        path = self.list_of_readings
        if not path.is_file():
            return {}
        with reading(path, StoreError):
            content = path.read_bytes()
        try:
            found = json.loads(content)
            return {str(name): [self.file.parent / file for file in files] for name, files in found.items()}
        except (ValueError, TypeError, AttributeError) as error:
            raise StoreError(f"{path}: is no list of archives ({error}); restore it from the backup") from error

    @property
    def list_of_readings(self) -> Path:
        """Where the list of files of readings is; it need not be there."""
        return self.file.with_name(f"{self.file.name}-archives.json")

    def live_readings(self, gauge: str) -> Path:
        """Return where the newest readings of a gauge are that sorts into this store.

        >>> StorePlace(Path("results.db")).live_readings("attic/2").name
        'results.db-turning-attic%2F2'
        """
        return self.file.with_name(f"{self.file.name}-turning-{quote(gauge, safe='')}")


def list_text(files: Mapping[str, Sequence[str]]) -> str:
    """Return the list as text: for each name that runs give, the files, named from the folder of the database."""
    return json.dumps(files, indent=1, ensure_ascii=False) + "\n"
