"""Writes anew all that is made from the model: `make drawings`."""

from pathlib import Path

from model.assembly import fed_by_hand, hand_bench, sorter
from model.output.everything import Folders, write_everything
from model.piece import Piece

NOTES = Path(__file__).parents[2]
FILES, PICTURES = NOTES / "files", NOTES / "pictures"


def builds() -> dict[str, tuple[Piece, ...]]:
    """Return the pieces of each build by its name, the simplest first."""
    return {build.name: build.pieces for build in (hand_bench(), fed_by_hand(), sorter())}


if __name__ == "__main__":
    write_everything(
        builds(),
        Folders(FILES, PICTURES, NOTES.parent / "build" / "drawings"),
    )
