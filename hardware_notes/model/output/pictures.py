"""A picture of pieces from a side: what is new in colour, with its part numbers at the margins."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence

import numpy as np
from PIL import Image

from model.output import meshes
from model.output.labels import with_labels
from model.output.stage import FINER, SIDE, WIDTH, Camera, Window, shot, stage, window
from model.piece import Part, Piece, Way

COLOURS = 64  # of the file's palette
MATERIALS = {
    "steel": "#8d949c", "aluminium": "#cdd3d8", "brass": "#d9b65a", "plywood": "#e3c58f", "polycarbonate": "#a9d3e8",
    "PETG": "#f0913a", "acetal": "#f4f4ee", "rubber": "#3b3b3b", "belt": "#3b3b3b", "circuit board": "#2f8f5b",
    "shaft": "#7a4b2a", "wire": "#7d8790", "felt": "#6f7a5e",
}  # fmt: skip
WIRE = "wire"  # the material of wires and cables
OTHER = "#b4b4b4"
THERE = "#e2e2e2"  # what was put in before
NEW = {Way.PRINTED: "#f0913a", Way.BOUGHT: "#6fb98a"}
MADE = "#5b8ed6"  # new and sawn, drilled, cut or turned
CLEAR = {"polycarbonate": 0.14}
FEWEST_PIXELS = 12  # of a part that is seen well enough to have its number
Chosen = Callable[[Piece], bool]


def picture(
    pieces: Sequence[Piece],
    camera: Camera,
    highlight: Chosen | None = None,
    focus: Sequence[Piece] = (),
    *,
    wires: bool = True,
) -> Image.Image:
    """Return a picture; the pieces that `highlight` accepts are coloured and numbered.

    Those of `focus` fill it, without any the coloured ones. Without `wires` wires have no number. Without
    `highlight` each piece has the colour of its material and no number.
    """
    new = [piece for piece in pieces if highlight is None or highlight(piece)]
    seen = window(focus or new, camera, 0 if highlight is None else SIDE)
    plotter = stage(seen)
    for colour, ink, clear, group in _groups(pieces, highlight):
        ambient = 0.5 if colour == THERE else 0.35
        plotter.add_mesh(meshes.skins(group), color=colour, opacity=clear, ambient=ambient, diffuse=0.7, specular=0.0)
        lines = meshes.outlines(group)
        if lines.n_points:
            plotter.add_mesh(lines, color=ink, line_width=1.5 * FINER / 2, lighting=False)
    image = shot(plotter, seen).resize((WIDTH, seen.height), Image.Resampling.BOX)
    if highlight is not None:
        counts = Counter(piece.part.number for piece in new)
        anchors = _anchors(pieces, [piece for piece in new if wires or piece.part.material != WIRE], seen)
        image = with_labels(image, {_label(name, counts[name]): at for name, at in anchors.items()})
    return image.quantize(COLOURS, method=Image.Quantize.MAXCOVERAGE, kmeans=3, dither=Image.Dither.NONE)


def _groups(pieces: Sequence[Piece], highlight: Chosen | None) -> Iterator[tuple[str, str, float, list[Piece]]]:
    """Yield colour, colour of the edges, opacity and pieces of what is drawn in one go, clear pieces last."""
    groups: dict[tuple[float, str, str], list[Piece]] = defaultdict(list)
    for piece in pieces:
        clear, ink = CLEAR.get(piece.part.material, 1.0), "#252525"
        if highlight is None:
            colour = piece.part.colour or MATERIALS.get(piece.part.material, OTHER)
        elif highlight(piece):
            colour = _colour(piece.part)
        else:
            colour, ink = THERE, "#a8a8a8"
        groups[-clear, colour, ink].append(piece)
    for (clear, colour, ink), group in sorted(groups.items(), key=lambda item: item[0]):
        yield colour, ink, -clear, group


def _colour(part: Part) -> str:
    return part.colour or NEW.get(part.way, MADE)


def _label(number: str, count: int) -> str:
    """Return a part number with how many pieces there are.

    >>> _label("S01", 2), _label("B01", 1)
    ('S01 x2', 'B01')
    """
    return f"{number} x{count}" if count > 1 else number


def _anchors(pieces: Sequence[Piece], new: Sequence[Piece], seen: Window) -> dict[str, tuple[int, int]]:
    """Return a point of the picture that shows each new part, by number; hidden parts have none.

    Every number is drawn once more in a flat colour of its own, so that what is seen of it can be counted.
    """
    numbers = sorted({piece.part.number for piece in new})
    plotter = stage(seen, finer=1)
    plotter.disable_anti_aliasing()
    chosen = {id(piece) for piece in new}
    solid = [piece for piece in pieces if id(piece) not in chosen and piece.part.material not in CLEAR]
    if solid:
        plotter.add_mesh(meshes.skins(solid), color=(0.0, 0.0, 0.0), lighting=False)
    for index, number in enumerate(numbers, start=1):
        group = [piece for piece in new if piece.part.number == number]
        plotter.add_mesh(meshes.skins(group), color=(index, 0, 0), lighting=False)
    flat = np.asarray(shot(plotter, seen))
    found = {}
    for index, number in enumerate(numbers, start=1):
        rows, columns = np.nonzero((flat[:, :, 0] == index) & (flat[:, :, 1] == 0))
        if len(rows) >= FEWEST_PIXELS:
            found[number] = _inside(rows, columns)
    return found


def _inside(rows: np.ndarray, columns: np.ndarray) -> tuple[int, int]:
    """Return the x and y of the pixel nearest to the middle of the largest patch, roughly: of the densest square."""
    squares, counts = np.unique(np.stack([rows // 24, columns // 24]), axis=1, return_counts=True)
    row, column = squares[:, counts.argmax()]
    near = (rows // 24 == row) & (columns // 24 == column)
    rows, columns = rows[near], columns[near]
    closest = np.hypot(rows - rows.mean(), columns - columns.mean()).argmin()
    return int(columns[closest]), int(rows[closest])
