"""What `midspan backup` and `midspan restore` print."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from midspan import backup as making
from midspan import restore as bringing_back
from midspan.errors import BackupError
from midspan.manifest import Manifest
from midspan.time_of_day import now_ms


def backup(folder: Path, store: Path, also: Sequence[Path]) -> None:
    """Make a backup; BackupError, when it is made, if readings that the database names were nowhere to be found."""
    manifest, strange = making.backup(folder, store, also, now_ms)
    for path in strange:
        print(f"{path}: not taken, it is no file of Midspan; name it with --also if it is to be kept", file=sys.stderr)
    for name, runs in manifest.lacking.items():
        print(f"{name}: the readings of {runs} runs are not there", file=sys.stderr)
    print(f"{folder}: {_words(manifest)}")
    print(f"Next: midspan restore {folder} --into NEWFOLDER, on any computer")
    if manifest.lacking:
        raise BackupError(
            f"{folder}: is whole but for readings that were not there; lay their files beside the database, and make "
            "another backup"
        )


def restore(folder: Path, into: Path) -> None:
    """Bring a backup back."""
    database, manifest = bringing_back.restore(folder, into)
    for line in bringing_back.astray(into, manifest):
        print(f"{line}; mend the plan before it is used", file=sys.stderr)
    print(f"{into}: {_words(manifest)}")
    print(f"Next: midspan report --store {database}")


def _words(manifest: Manifest) -> str:
    size_mb = sum(one.bytes for one in manifest.file) / 1e6
    counts = f"runs {manifest.runs}, results {manifest.results}, nights {manifest.nights}, files {len(manifest.file)}"
    return f"{counts} ({size_mb:.1f} MB), everything read back"
