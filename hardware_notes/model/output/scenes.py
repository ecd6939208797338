"""Which pictures there are, from which side: the builds, each step of the assembly, each step's pieces drawn apart."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from build123d import Location
from PIL import Image

from model.output import close_ups
from model.output.meshes import corners
from model.output.parts_list import Builds, step_order
from model.output.pictures import CLEAR, Chosen, picture
from model.output.stage import Camera
from model.piece import Piece

FROM_THE_FRONT = Camera(around=30, above=25)
INTO_THE_FEEDER = Camera(around=15, above=48)
CAMERAS: Mapping[str, Camera] = {  # of steps that are seen better from elsewhere
    "8 electronics": Camera(around=155, above=40),
    "11 hopper and fork": INTO_THE_FEEDER,
    "12 gate": INTO_THE_FEEDER,
    "13 lift": INTO_THE_FEEDER,
    "14 selector": INTO_THE_FEEDER,
    "15 trays": INTO_THE_FEEDER,
}
BESIDE_MM, PAIRED = 60.0, 0.8  # from midspan, and share of pieces: two of a unit that stand further off
APART = 0.7  # how far pieces are drawn apart, as a share of their distance from the middle
PULLED_MM = 22.0  # a fastener out of its hole, on top of that
FASTENERS = (
    "ISO 4762",
    "ISO 10642",
    "ISO 4026",
    "ISO 7089",
    "ISO 4032",
    "ISO 10511",
    "ISO 8734",
    "slot nut",
    "chipboard",
)


def pictures(builds: Builds) -> Iterator[tuple[str, Image.Image]]:
    """Yield the name of each picture's file and the picture; clear sheets of earlier steps are left away."""
    for name, pieces in builds.items():
        yield f"build-{name.replace(' ', '-')}.png", picture(pieces, FROM_THE_FRONT)
    for step, pieces in stages(builds):
        camera = CAMERAS.get(step, FROM_THE_FRONT)
        new = [piece for piece in pieces if piece.step == step]
        close = single(new)
        shown = [piece for piece in pieces if piece.step == step or piece.part.material not in CLEAR]
        yield f"step-{slug(step)}.png", picture(shown, camera, _goes_in(step), close, wires=False)
        yield f"apart-{slug(step)}.png", picture(apart(close), camera, lambda piece: True)
        if step == close_ups.STEP:
            yield from close_ups.close_ups(pieces)


def _goes_in(step: str) -> Chosen:
    """Return what accepts the pieces of a step."""
    return lambda piece: piece.step == step


def stages(builds: Builds) -> Iterator[tuple[str, list[Piece]]]:
    """Yield each step of the assembly with all pieces that are in place after it, from the first build that has it."""
    known: set[str] = set()
    for pieces in builds.values():
        steps = sorted({piece.step for piece in pieces if piece.step}, key=step_order)
        for index, step in enumerate(steps):
            if step not in known:
                yield step, [piece for piece in pieces if piece.step in steps[: index + 1]]
        known |= set(steps)


def slug(step: str) -> str:
    """Return a step as part of a file's name, so that files lie in the order of the steps.

    >>> slug("2 stands"), slug("5 carriage and screw"), slug("H1")
    ('02-stands', '05-carriage-and-screw', 'h1')
    """
    number, _, words = step.partition(" ")
    return "-".join([number.zfill(2) if number.isdigit() else number.lower(), *words.split()])


def single(pieces: Sequence[Piece]) -> list[Piece]:
    """Return one side of midspan, the fuller, where most pieces stand in pairs well away from it; else all pieces."""
    places = [corners([piece])[:, 0] for piece in pieces]
    if any(x.min() < BESIDE_MM and x.max() > -BESIDE_MM for x in places):
        return list(pieces)
    sides = [[piece for piece, x in zip(pieces, places, strict=True) if sign * x.mean() > 0] for sign in (1, -1)]
    counts = [Counter(piece.part.number for piece in side) for side in sides]
    if (counts[0] & counts[1]).total() < PAIRED * len(pieces) / 2:
        return list(pieces)
    return max(sides, key=len)


def apart(pieces: Sequence[Piece]) -> list[Piece]:
    """Return the pieces moved away from their common middle, fasteners drawn out along their own axes as well."""
    low, high = corners(pieces).min(axis=0), corners(pieces).max(axis=0)
    middle = (low + high) / 2
    moved = []
    for piece in pieces:
        ends = corners([piece])
        shift = APART * ((ends.min(axis=0) + ends.max(axis=0)) / 2 - middle)
        if piece.part.designation.startswith(FASTENERS):
            out = np.array(tuple((piece.where * Location((0, 0, 1))).position - piece.where.position))
            shift = shift + PULLED_MM * out
        moved.append(replace(piece, where=Location(tuple(shift)) * piece.where))
    return moved


def write_pictures(builds: Builds, folder: Path) -> list[Path]:
    """Write every picture, and return the files."""
    written = []
    for name, image in pictures(builds):
        written.append(folder / name)
        image.save(written[-1], optimize=True)
    return written
