"""The readings of the shaft that turns just now, left where another program can follow them as they come.

Nothing depends on this file: what counts is the archive, which gets a shaft once it is whole. It holds one shaft, the
newest, a line of JSON for each block. A disk that refuses it is no reason to end a night.
"""

from __future__ import annotations

import json
from contextlib import suppress
from pathlib import Path

from midspan.link.session_events import BlockCame, SessionEvent
from midspan.wire.readings import absolute
from midspan.wire.records import Readings


class LiveReadings:
    """Writes that file; to be called with every event of the line."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def __call__(self, event: SessionEvent) -> None:
        """Keep a block that came; anything else is passed over."""
        if isinstance(event, BlockCame):
            with suppress(OSError):
                self._add(event.block, begins=event.readings == len(event.block.counts))

    def _add(self, block: Readings, *, begins: bool) -> None:
        line = json.dumps(
            {
                "shaft": block.shaft,
                "block": block.block,
                "phase": int(block.phase),
                "rotate_steps": absolute(block.rotate_steps).tolist(),
                "counts": absolute(block.counts).tolist(),
            }
        )
        with self._path.open("w" if begins else "a", encoding="utf-8") as file:
            file.write(f"{line}\n")
