"""Where results are, as a person names it, and the files beside it; no other module builds a path from a store's name.

Today that is a file on this computer. Archives move together with their database, but its rows never change: a run
names its archive as it was called when it was measured. A restored database has a list beside it that says where each
archive is now.

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

WAIT_S = 5.0  # longest wait for another program that is writing
ADDRESS = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*://")


@dataclass(frozen=True, slots=True)
class StorePlace:
    """Place of a database of results; as text, the name a person gives it.

    Parameters
    ----------
    file : Path
        Database file.
    """

    file: Path

    @classmethod
    def of(cls, name: str, folder: Path = Path()) -> StorePlace:
        """Return the place that a person named.

        Parameters
        ----------
        name : str
            Path of the file.
        folder : Path
            Folder from which a relative path counts.

        Returns
        -------
        StorePlace
            The place; the file need not exist.

        Raises
        ------
        ConfigurationError
            The name is an address of another computer.

        Examples
        --------
        >>> StorePlace.of("attic://results")
        Traceback (most recent call last):
        midspan.base.errors.ConfigurationError: attic://results: an address cannot be opened yet; name a file
        """
        if ADDRESS.match(name):
            raise ConfigurationError(f"{name:.200}: an address cannot be opened yet; name a file")
        return cls(folder / name)

    def __str__(self) -> str:
        return str(self.file)

    def exists(self) -> bool:
        """Return True if a file or folder of this name exists.

        Returns
        -------
        bool
            False if the name is free.
        """
        return self.file.exists()

    def moved_to(self, folder: Path) -> StorePlace:
        """Return the place of a database of the same name in another folder.

        Parameters
        ----------
        folder : Path
            The other folder.

        Returns
        -------
        StorePlace
            Place there.

        Examples
        --------
        >>> str(StorePlace.of("mine/results.db").moved_to(Path("attic")))
        'attic/results.db'
        """
        return StorePlace(folder / self.file.name)

    # Importing SQLAlchemy takes a third of a second, which commands without a store should not wait for.

    def open(self, *, create: bool = True, wait_s: float = WAIT_S) -> Store:
        """Open the database to write, upgrading its tables if they are old.

        Parameters
        ----------
        create : bool
            True to create a missing database.
        wait_s : float
            How long to wait if another program is writing, s.

        Returns
        -------
        Store
            Open store; close it, or use it in a `with` block.

        Raises
        ------
        StoreError
            The file is missing and `create` is False, is not a database of results, is damaged, or its tables are newer
            than this version.

        Examples
        --------
        >>> import tempfile
        >>> place = StorePlace(Path(tempfile.mkdtemp()) / "results.db")
        >>> with place.open() as store:
        ...     store.begin_batch("blue dozen", started_ms=0)
        1
        """
        from midspan.store.open_to_write import open_to_write

        return open_to_write(self, create=create, wait_s=wait_s)

    def open_to_read(self, wait_s: float = WAIT_S) -> Store:
        """Open the database to read; writing through it raises StoreError with code "opened_to_read".

        Parameters
        ----------
        wait_s : float
            How long to wait if another program has locked the file, s.

        Returns
        -------
        Store
            Open store; close it, or use it in a `with` block.

        Raises
        ------
        StoreError
            The file is missing, is not a database of results, is damaged, or its tables are newer than this version.
        """
        from midspan.store.open_to_read import open_to_read

        return open_to_read(self, wait_s)

    def open_for(self, *, writes: bool) -> Store:
        """Open an existing database, for commands that write only on request.

        Parameters
        ----------
        writes : bool
            True to write, False to read.

        Returns
        -------
        Store
            Open store.

        Raises
        ------
        StoreError
            As `open` and `open_to_read`.
        """
        return self.open(create=False) if writes else self.open_to_read()

    def facts(self) -> list[tuple[str, int | str]]:
        """Return size, revision and row counts by name, without any content.

        Returns
        -------
        list[tuple[str, int | str]]
            Name and value of each fact; for a table that cannot be read, the reason instead of its row count.

        Raises
        ------
        StoreError
            The file cannot be opened as a database.
        """
        from midspan.store.facts import facts_of

        return list(facts_of(self.file))

    # Files beside the database

    def readings(self, named: str) -> list[Path]:
        """Return where a file of readings may be: as listed, under its own name, or beside the database.

        Parameters
        ----------
        named : str
            Path as stored with the run.

        Returns
        -------
        list[Path]
            Paths, the likeliest first; the files need not exist.

        Raises
        ------
        StoreError
            The list of archives is damaged.
        """
        own = Path(named)
        return list(dict.fromkeys((*self.listed_readings().get(named, ()), own, self.file.parent / own.name)))

    def listed_readings(self) -> dict[str, list[Path]]:
        """Return the list of moved archives.

        Returns
        -------
        dict[str, list[Path]]
            Paths by the name stored with runs; empty without a list.

        Raises
        ------
        StoreError
            The list cannot be read or is damaged.
        """
        path = self.list_of_readings
        if not path.is_file():
            return {}
        with reading(path, StoreError):
            content = path.read_bytes()
        try:
            found = json.loads(content)
            return {str(name): [self.file.parent / file for file in files] for name, files in found.items()}
        except (ValueError, TypeError, AttributeError) as error:
            raise StoreError(
                f"{path}: is not a list of archives ({error}); restore it from the backup", code="list_damaged"
            ) from error

    @property
    def list_of_readings(self) -> Path:
        """Path of the list of moved archives, which need not exist."""
        return self.file.with_name(f"{self.file.name}-archives.json")

    def live_readings(self, gauge: str) -> Path:
        """Return the path of the newest readings of a gauge that sorts into this store.

        Parameters
        ----------
        gauge : str
            Name of the gauge.

        Returns
        -------
        Path
            Path of a file beside the database; it exists only while the gauge sorts.

        Examples
        --------
        >>> StorePlace(Path("results.db")).live_readings("attic/2").name
        'results.db-turning-attic%2F2'
        """
        return self.file.with_name(f"{self.file.name}-turning-{quote(gauge, safe='')}")


def list_text(files: Mapping[str, Sequence[str]]) -> str:
    """Return the list of moved archives as JSON text.

    Parameters
    ----------
    files : Mapping[str, Sequence[str]]
        For each name stored with runs, the paths relative to the database's folder.

    Returns
    -------
    str
        Content of the list file.

    Examples
    --------
    >>> print(list_text({"old.avro": ["new.avro"]}), end="")
    {
     "old.avro": [
      "new.avro"
     ]
    }
    """
    return json.dumps(files, indent=1, ensure_ascii=False) + "\n"
