"""Part numbers in the margins of a picture, each with a line to the part."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from PIL import Image, ImageDraw, ImageFont

SIZE = 16
MARGIN = 84  # that the words stand in
GAP = 22.0  # between two numbers below each other
INK = "#101010"
FINER = 3  # drawn larger and made smaller, for smooth lines


def with_labels(image: Image.Image, anchors: Mapping[str, tuple[int, int]]) -> Image.Image:
    """Return the picture with the numbers of its parts, left and right, and a line from each to its anchor."""
    sheet = image.convert("RGB").resize((image.width * FINER, image.height * FINER), Image.Resampling.BICUBIC)
    pen = ImageDraw.Draw(sheet)
    font = ImageFont.load_default(SIZE * FINER)
    left, right = _sides(anchors, image)
    for names, at_right in ((left, False), (right, True)):
        heights = spread([anchors[name][1] for name in names], GAP, (GAP / 2, image.height - GAP / 2))
        for name, height in zip(names, heights, strict=True):
            x, y = anchors[name]
            start = image.width - MARGIN if at_right else MARGIN
            _line(pen, (start, height), (x, y))
            pen.text(
                (FINER * (start + (6 if at_right else -6)), FINER * height), name,
                font=font, fill=INK, stroke_width=2 * FINER, stroke_fill="white", anchor="lm" if at_right else "rm",
            )  # fmt: skip
    return sheet.resize(image.size, Image.Resampling.LANCZOS)


def _line(pen: ImageDraw.ImageDraw, start: tuple[float, float], end: tuple[float, float]) -> None:
    """Draw a leader with a dot at its end; a white border keeps it readable on dark parts."""
    ends = [(FINER * x, FINER * y) for x, y in (start, end)]
    pen.line(ends, fill="white", width=3 * FINER)
    pen.line(ends, fill=INK, width=FINER)
    x, y = ends[1]
    pen.ellipse((x - 4 * FINER, y - 4 * FINER, x + 4 * FINER, y + 4 * FINER), fill="white")
    pen.ellipse((x - 3 * FINER, y - 3 * FINER, x + 3 * FINER, y + 3 * FINER), fill=INK)


def _sides(anchors: Mapping[str, tuple[int, int]], image: Image.Image) -> tuple[list[str], list[str]]:
    """Return the names at the left and at the right margin, from the top; no side gets more than it has room for."""
    room = int(image.height / GAP) - 1
    across = sorted(anchors, key=lambda name: anchors[name][0])
    cut = sum(anchors[name][0] < image.width / 2 for name in across)
    cut = max(len(across) - room, min(room, cut))
    return tuple(sorted(side, key=lambda name: anchors[name][1]) for side in (across[:cut], across[cut:]))


def spread(wanted: Sequence[float], gap: float, ends: tuple[float, float]) -> list[float]:
    """Return places in the same order, close to those wanted (ascending), no two nearer than `gap`, between two ends.

    >>> spread([10.0, 11.0, 50.0], 4.0, (0.0, 60.0))
    [8.5, 12.5, 50.0]
    """
    heaps: list[list[float]] = []  # of places that touch: where the first would like to stand, summed; their number
    for place in wanted:
        heaps.append([place, 1.0])
        while len(heaps) > 1 and _first(heaps[-2]) + heaps[-2][1] * gap > _first(heaps[-1]):
            total, count = heaps.pop()
            heaps[-1][0] += total - gap * heaps[-1][1] * count
            heaps[-1][1] += count
    low, high = ends
    placed = [_first(heap) + gap * i for heap in heaps for i in range(int(heap[1]))]
    for i, place in enumerate(placed):
        placed[i] = max(place, low + gap * i)
    for i, place in enumerate(reversed(placed)):
        placed[-1 - i] = min(place, high - gap * i)
    return placed


def _first(heap: Sequence[float]) -> float:
    """Return where the first of places that touch stands, so that on average none is shifted."""
    return heap[0] / heap[1]
