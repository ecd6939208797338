"""Write the readings of the shaft that is being measured to a file that another program can follow.

Nothing depends on this file: what counts is the archive, which gets a shaft once it is whole. It holds the newest
shaft only, a line of JSON for each block. A disk that refuses it does not stop a run.
"""

from __future__ import annotations

import json
from contextlib import suppress
from pathlib import Path

from midspan.link.session_events import BlockCame, SessionEvent
from midspan.wire.readings import absolute
from midspan.wire.records import Readings


class LiveReadings:
    """Writer of that file; call it with every event of the line.

    Parameters
    ----------
    path : Path
        File to write; each shaft replaces the one before.
    """

    def __init__(self, path: Path) -> None:
        self._path = path

    def __call__(self, event: SessionEvent) -> None:
        """Write a block that came; ignore all other events."""
        if isinstance(event, BlockCame):
            with suppress(OSError):
                self._add(event.block, begins=event.readings == len(event.block.counts))

    def _add(self, block: Readings, *, begins: bool) -> None:
        """Append a block to the file, or begin the file anew with it."""
        line = json.dumps(
            {
                "shaft": block.shaft,
                "block": block.block,
                "phase": int(block.phase),
                "rotate_steps": absolute(block.rotate_steps, len(block.counts)).tolist(),
                "counts": absolute(block.counts, len(block.counts)).tolist(),
            }
        )
        with self._path.open("w" if begins else "a", encoding="utf-8") as file:
            file.write(f"{line}\n")
