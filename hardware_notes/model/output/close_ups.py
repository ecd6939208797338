"""Pictures of how the wires reach a part: the part from nearby, with each wire that ends there in its mark's colour."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from PIL import Image

from model.output.meshes import corners
from model.output.pictures import CLEAR, picture
from model.output.stage import Camera
from model.piece import Piece

NEAR_MM = 6.0  # a wire that comes so near to a part's box ends there, or passes


class CloseUp(NamedTuple):
    """A picture's name, the numbers of the parts that fill it, and the side that it is taken from."""

    name: str
    numbers: frozenset[str]
    camera: Camera


CLOSE_UPS = (
    CloseUp("converter", frozenset({"E06", "E12"}), Camera(around=-75, above=20, margin=1.3)),
    CloseUp("drivers", frozenset({"E04", "E05"}), Camera(around=180, above=55)),
    CloseUp("board", frozenset({"E02", "E03"}), Camera(around=180, above=60, margin=1.3)),
    CloseUp("fuse", frozenset({"E08", "E09"}), Camera(around=160, above=40, margin=1.3)),
    CloseUp("stop", frozenset({"E10"}), Camera(around=-40, above=25, margin=1.3)),
    CloseUp("cell", frozenset({"P30", "E80"}), Camera(around=-35, above=15, margin=1.2)),
)
STEP = "8 electronics"


def close_ups(pieces: Sequence[Piece]) -> Iterator[tuple[str, Image.Image]]:
    """Yield the name of each close-up's file and the picture, from the pieces that are in place after that step."""
    shown = [piece for piece in pieces if piece.part.material not in CLEAR]
    for name, numbers, camera in CLOSE_UPS:
        filling = [piece for piece in shown if piece.part.number in numbers]
        if filling:
            named = {id(piece) for piece in (*filling, *reaching(filling, shown))}
            yield f"close-{name}.png", picture(shown, camera, lambda piece, named=named: id(piece) in named, filling)


def reaching(parts: Sequence[Piece], pieces: Sequence[Piece]) -> list[Piece]:
    """Return the wires and cables that come near to one of the parts."""
    wires = [piece for piece in pieces if piece.part.material == "wire"]
    return [wire for wire in wires if any(_near(wire, part) for part in parts)]


def _near(wire: Piece, part: Piece) -> bool:
    """Return True if a point of a wire's mesh lies within a part's box, a little larger."""
    ends = corners([part])
    points = corners([wire])
    low, high = ends.min(axis=0) - NEAR_MM, ends.max(axis=0) + NEAR_MM
    return bool(np.all((points >= low) & (points <= high), axis=1).any())
