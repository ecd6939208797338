"""Writes anew all that is made from the model: `make drawings`."""

from pathlib import Path

from frame.dimensions import Frame

from model.hand_bench import hand_bench
from model.output.everything import Folders, write_everything

NOTES = Path(__file__).parents[2]

if __name__ == "__main__":
    write_everything(
        {"hand bench": hand_bench(Frame.load())},
        Folders(NOTES / "files", NOTES / "pictures", NOTES.parent / "build" / "drawings"),
    )
