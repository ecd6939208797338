"""Writes anew all that is made from the model: `make drawings`."""

from pathlib import Path

from model.assembly import fed_by_hand, hand_bench
from model.output.everything import Folders, write_everything

NOTES = Path(__file__).parents[2]
FILES, PICTURES = NOTES / "files", NOTES / "pictures"

if __name__ == "__main__":
    write_everything(
        {build.name: build.pieces for build in (hand_bench(), fed_by_hand())},
        Folders(FILES, PICTURES, NOTES.parent / "build" / "drawings"),
    )
