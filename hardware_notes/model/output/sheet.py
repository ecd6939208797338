"""A dimensioned drawing of a made part on A4: views, coordinates of its steps, holes with a table, stock, notes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from drawings.draw_svg import Sheet, View, number

from model.output.features import Round, steps
from model.output.hole_table import Hole, Row, table
from model.output.labels import spread
from model.output.views import Outline, view
from model.piece import Part, Way

PAPER = 1122.0, 794.0  # A4 across, in units of a 96th of an inch
UNIT = 96 / 25.4
EDGE = 22.0
TABLE = 318.0  # width of the column beside the views
BLOCK, TITLE = 430.0, 128.0  # width and height of the title block
SMALLEST = 60.0  # of a part drawn askew
SCALES = (10.0, 5.0, 2.0, 1.0, 1 / 2, 1 / 5, 1 / 10, 1 / 20)  # ISO 5455
STEPS = 52.0  # room for coordinates above and left of a view
ROW = 11.5
GAP = 10.5  # between two coordinates


@dataclass(frozen=True)
class Facts:
    """What the assembly says about a part: its pieces in each build, and what each of its holes is for."""

    pieces: Mapping[str, int]
    uses: Mapping[Round, str]


def sheets(part: Part, facts: Facts) -> list[Sheet]:
    """Return the drawing of a part: a sheet, and further ones if its table is long."""
    solid = part.shape
    box = solid.bounding_box()
    datum = {"x": box.min.X, "y": box.min.Y, "z": box.min.Z}
    if part.way is Way.TURNED:
        datum |= {"x": box.center().X, "y": box.center().Y}
    holes, rows = table(solid, datum, facts.uses)
    views = {eye: view(solid, eye) for eye in ("from above", "from the front", "from the right", "askew")}
    scale, wide = _scale((box.size.X, box.size.Y, box.size.Z))
    sheet = Sheet(*PAPER, f"{part.number} {part.name}")
    _Drawing(sheet, part, datum, scale, wide).draw(views, holes)
    left = _tables(sheet, rows, _columns(wide))
    _title(sheet, part, facts, scale)
    made = [sheet]
    while left:
        made.append(Sheet(*PAPER, f"{part.number} {part.name}, {len(made) + 1}"))
        left = _tables(made[-1], left, [(EDGE + 10 + i * 270, EDGE + 20, PAPER[1] - TITLE - 50) for i in range(4)])
        _title(made[-1], part, facts, scale)
    return made


def _scale(size: Sequence[float]) -> tuple[float, bool]:
    """Return the largest usual scale at which the views fit, and whether they take the paper's whole width."""
    x, y, z = size
    for scale in SCALES:
        across, upward = (scale * UNIT * value for value in (x + z, y + z))
        room = PAPER[0] - 2 * EDGE - STEPS - 40, PAPER[1] - 2 * EDGE - STEPS - 40
        if across < room[0] - TABLE and upward < room[1]:
            return scale, False
        if across < room[0] and upward < room[1] - TITLE - 180:
            return scale, True
    return SCALES[-1], True


def _columns(wide: bool) -> list[tuple[float, float, float]]:
    """Return x, top and bottom of the columns that the table may fill."""
    if wide:
        return [(EDGE + 10 + i * 225, PAPER[1] - EDGE - TITLE - 190, PAPER[1] - EDGE - 8) for i in range(3)]
    x = PAPER[0] - EDGE - TABLE
    return [(x + 12, EDGE + 16, PAPER[1] - EDGE - TITLE - 10)]


@dataclass(frozen=True)
class _Drawing:
    """The views of a part on its sheet."""

    sheet: Sheet
    part: Part
    datum: Mapping[str, float]
    scale: float
    wide: bool

    @property
    def _profile(self) -> bool:
        """True of a sawn profile, whose slots are its maker's and would hide all else."""
        return "profile" in self.part.designation

    def draw(self, views: Mapping[str, Outline], holes: Sequence[Hole]) -> None:
        """Draw the three views where third-angle projection puts them, and the part askew in the free corner."""
        box = self.part.shape.bounding_box()
        middle = box.center()
        factor = self.scale * UNIT
        x, y, z = (factor * value for value in (box.size.X, box.size.Y, box.size.Z))
        gap = 46.0
        left, top = EDGE + STEPS + 6, EDGE + STEPS + 6
        above = self.sheet.view(left + x / 2, top + y / 2, factor)
        front = self.sheet.view(left + x / 2, top + y + gap + z / 2, factor)
        right = self.sheet.view(left + x + gap + z / 2, top + y / 2, factor)
        for place, name in ((above, "from above"), (front, "from the front"), (right, "from the right")):
            _lines(place, views[name], hidden=not self._profile)
        marks = steps(self.part.shape)
        if self._profile:
            marks = {name: [values[0], values[-1]] for name, values in marks.items()}
        self._across(
            above, [v - middle.X for v in marks["x"]], [v - self.datum["x"] for v in marks["x"]], box.size.Y / 2
        )
        self._upward(
            above, [v - middle.Y for v in marks["y"]], [v - self.datum["y"] for v in marks["y"]], box.size.X / 2
        )
        self._upward(
            front, [v - middle.Z for v in marks["z"]], [v - self.datum["z"] for v in marks["z"]], box.size.X / 2
        )
        offset = {name: self.datum[name] - getattr(middle, name.upper()) for name in "xyz"}
        for hole in holes:
            a, b = hole.place
            if hole.along == "z":
                _hole(above, hole, (a + offset["x"], b + offset["y"]))
            elif hole.along == "y":
                _hole(front, hole, (a + offset["x"], b + offset["z"]))
            else:
                _hole(right, hole, (-(b + offset["z"]), a + offset["y"]))
        self._askew(views["askew"], (left + x + gap, top + y + gap))
        for place, name, down in ((above, "from above", y), (front, "from the front", z), (right, "from the right", y)):
            self.sheet.text((place.x, place.y + down / 2 + 14), name, 8)

    def _across(self, place: View, at: Sequence[float], values: Sequence[float], half: float) -> None:
        """Write coordinates along x above a view."""
        base = place.y - place.scale * half
        xs = [place.x + place.scale * value for value in at]
        for x, slot, value in zip(xs, spread(xs, GAP, (EDGE, PAPER[0] - EDGE)), values, strict=True):
            self.sheet.path(
                [(x, base - 3), (x, base - 10), (slot, base - 18), (slot, base - 22)], 0.35, "", "#000000", "none",
                closed=False,
            )  # fmt: skip
            self.sheet.text((slot + 3, base - 24), number(value + 0.0), 9, "start", -90)

    def _upward(self, place: View, at: Sequence[float], values: Sequence[float], half: float) -> None:
        """Write coordinates along the height of a view at its left."""
        base = place.x - place.scale * half
        ys = [place.y - place.scale * value for value in reversed(at)]
        for y, slot, value in zip(ys, spread(ys, GAP, (EDGE, PAPER[1] - EDGE)), reversed(values), strict=True):
            self.sheet.path(
                [(base - 3, y), (base - 10, y), (base - 18, slot), (base - 22, slot)], 0.35, "", "#000000", "none",
                closed=False,
            )  # fmt: skip
            self.sheet.text((base - 24, slot + 3), number(value + 0.0), 9, "end")

    def _askew(self, outline: Outline, corner: tuple[float, float]) -> None:
        """Draw the part askew, as large as the corner right of and below the views lets it."""
        low_x, low_y, high_x, high_y = outline.box
        end = PAPER[0] - EDGE - (0 if self.wide else TABLE + 8)
        fit, width, height = max(
            (min((right - corner[0]) / (high_x - low_x), (bottom - corner[1]) / (high_y - low_y), self.scale * UNIT),
             right - corner[0], bottom - corner[1])
            for right, bottom in (
                (end, PAPER[1] - EDGE - TITLE - (200 if self.wide else 8)),
                (PAPER[0] - EDGE - BLOCK - 8, PAPER[1] - EDGE - (TITLE + 200 if self.wide else 8)),
            )
        )  # fmt: skip
        if fit * (high_x - low_x) < SMALLEST:
            return
        place = self.sheet.view(
            corner[0] + width / 2 - fit * (low_x + high_x) / 2, corner[1] + height / 2 + fit * (low_y + high_y) / 2, fit
        )
        for line in outline.seen:
            place.line(*line, width=0.7)


def _lines(place: View, outline: Outline, *, hidden: bool) -> None:
    for line in outline.hidden if hidden else ():
        place.line(*line, width=0.35, dash="3 2", ink="#777777")
    for line in outline.seen:
        place.line(*line, width=1.1)


def _hole(place: View, hole: Hole, at: tuple[float, float]) -> None:
    """Mark a hole by its centre lines and its label."""
    reach = hole.diameter / 2 + 5 / place.scale
    for a, b in (((-reach, 0), (reach, 0)), ((0, -reach), (0, reach))):
        ends = [(at[0] + dx, at[1] + dy) for dx, dy in (a, b)]
        place.line(*ends, width=0.35, dash="6 2 1 2")
    x, y = place.at(at)
    step = hole.diameter / 2 * place.scale * 0.71 + 2
    place.sheet.text((x + step, y - step), hole.label, 8.5, "start")


def _tables(sheet: Sheet, rows: Sequence[Row], columns: Sequence[tuple[float, float, float]]) -> list[Row]:
    """Write the table into columns, and return the lines that found no room."""
    left = list(rows)
    for x, top, bottom in columns:
        y = top
        while left and y <= bottom:
            row = left[0]
            if row.heading and y + 2 * ROW > bottom:
                break
            _row(sheet, row, x, y)
            y += ROW * (1 if len(row.cells[0]) <= MOST else 2)
            left.pop(0)
    return left


MOST = 62  # letters in a line of the table


def _row(sheet: Sheet, row: Row, x: float, y: float) -> None:
    if row.heading:
        words = row.cells[0]
        cut = words.rfind(" ", 0, MOST) if len(words) > MOST else len(words)
        sheet.text((x, y), words[:cut], 8.5, "start", bold=True)
        if words[cut:]:
            sheet.text((x + 14, y + ROW), words[cut:].strip(), 8.5, "start", bold=True)
        return
    for cell, at in zip(row.cells, (12, 58, 128), strict=False):
        if cell:
            sheet.text((x + at, y), cell, 8.5, "start")


def _title(sheet: Sheet, part: Part, facts: Facts, scale: float) -> None:
    """Draw the title block: what it is, of what, how many, at which scale, and the notes."""
    left, top = PAPER[0] - EDGE - BLOCK, PAPER[1] - EDGE - TITLE
    right, bottom = PAPER[0] - EDGE, PAPER[1] - EDGE
    sheet.path([(left, top), (right, top), (right, bottom), (left, bottom)], 1.0, "", "#000000", "#ffffff", closed=True)
    sheet.text((left + 8, top + 20), f"{part.number}  {part.name}", 14, "start", bold=True)
    ratio = f"{number(scale)} : 1" if scale >= 1 else f"1 : {number(1 / scale)}"
    sheet.text((right - 8, top + 20), f"scale {ratio}", 10, "end")
    size = part.shape.bounding_box().size
    overall = " x ".join(number(round(value, 2)) for value in (size.X, size.Y, size.Z))
    pieces = ", ".join(f"{build} {count}" for build, count in facts.pieces.items() if count)
    lines = [
        f"{part.way}; {part.material}; {part.designation}",
        f"overall {overall} mm, {part.grams:.0f} g; pieces: {pieces}",
        "All in mm; edges broken 0.3; ISO 2768-m where nothing else is said.",
        *part.notes,
    ]
    for index, line in enumerate(_wrapped(lines)[:8]):
        sheet.text((left + 8, top + 37 + 11.5 * index), line, 9, "start")


def _wrapped(lines: Sequence[str]) -> list[str]:
    """Return the lines broken where they are too long for the title block."""
    made = []
    for line in lines:
        while len(line) > 84:
            cut = line.rfind(" ", 0, 84)
            made.append(line[:cut])
            line = "   " + line[cut:].strip()
        made.append(line)
    return made
