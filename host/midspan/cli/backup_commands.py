"""What `midspan backup` and `midspan restore` print."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from shlex import quote

from midspan.backup import copy as making
from midspan.backup import restore as bringing_back
from midspan.backup.manifest import Manifest
from midspan.base.clock import now_ms
from midspan.base.errors import BackupError


def backup(folder: Path, store: Path, also: Sequence[Path]) -> None:
    """Make a backup; BackupError, when it is made, if readings that the database names were nowhere to be found."""
    manifest, strange = making.backup(folder, store, also, now_ms)
    for path in strange:
        print(f"{path}: not taken, it is no file of Midspan; name it with --also if it is to be kept", file=sys.stderr)
    _say(folder, manifest)
    print(f"Next: midspan restore {quote(str(folder))} --into NEWFOLDER, on any computer")
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
    _say(into, manifest)
    print(f"Next: midspan report --store {quote(str(database))}")


def _say(folder: Path, manifest: Manifest) -> None:
    for name, runs in manifest.lacking.items():
        print(f"{name}: the readings of {runs} runs are not there", file=sys.stderr)
    size_mb = sum(one.bytes for one in manifest.file) / 1e6
    counts = f"runs {manifest.runs}, results {manifest.results}, nights {manifest.nights}, files {len(manifest.file)}"
    read = "all but these readings" if manifest.lacking else "everything"
    print(f"{folder}: {counts} ({size_mb:.1f} MB), {read} read back")
