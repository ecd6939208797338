"""All that is made from the model, written into the folders where it is looked for."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from drawings.draw_svg import Sheet

from model.output.files import name_of, pack, write_assemblies, write_dxf, write_step, write_stl
from model.output.parts_list import Builds, counted, parts, write_figures, write_parts
from model.output.pdf import write_pdf
from model.output.scenes import write_pictures
from model.output.sheet import Facts, sheets
from model.output.uses import uses
from model.piece import Part, Way

PICTURES = ("build", "step", "apart", "close")  # what their names begin with
INSIDE_ANOTHER = "fed by hand"  # the sorter has all of it but the lid's front
DRAWN = (Way.CUT, Way.MACHINED, Way.TURNED)


@dataclass(frozen=True)
class Folders:
    """Where files go: what a reader needs, the pictures of the notes, and all that can be made again any time."""

    files: Path
    pictures: Path
    build: Path

    def fresh(self, name: str, suffix: str, *, build: bool = False) -> Path:
        """Return a folder without files of that suffix, so that none is left of a part that is no more."""
        folder = (self.build if build else self.files) / name
        folder.mkdir(parents=True, exist_ok=True)
        for old in folder.glob(f"*.{suffix}"):
            old.unlink()
        return folder


def write_everything(builds: Builds, folders: Folders) -> None:
    """Write parts list, figures, meshes, sheets to cut, solids, drawings and pictures of the builds."""
    for folder in (folders.files, folders.pictures, folders.build):
        folder.mkdir(parents=True, exist_ok=True)
    write_parts(builds, folders.files / "parts.csv")
    write_figures(builds, folders.files / "figures.json")
    _write_files(builds, folders)
    _write_drawings(builds, folders)
    for kind in PICTURES:
        for old in folders.pictures.glob(f"{kind}-*.png"):
            old.unlink()
    write_pictures(builds, folders.pictures)


def _write_files(builds: Builds, folders: Folders) -> None:
    printed, cut = folders.fresh("printed", "stl"), folders.fresh("cut", "dxf")
    solids = folders.fresh("parts", "step", build=True)
    for part in parts(builds):
        if part.way is Way.PRINTED:
            write_stl(part, printed)
        if part.way is Way.CUT:
            write_dxf(part, cut)
        if part.way is not Way.BOUGHT:
            write_step(part, solids)
    assemblies = write_assemblies(builds, folders.build)
    pack([path for name, path in assemblies.items() if name != INSIDE_ANOTHER], folders.files / "assemblies.tar.xz")


def _write_drawings(builds: Builds, folders: Folders) -> None:
    drawn = []
    singles = folders.fresh("sheets", "svg", build=True)
    for part, paper in drawings(builds):
        for index, sheet in enumerate(paper):
            name = f"{name_of(part)}{f'-{index + 1}' if index else ''}.svg"
            (singles / name).write_text(sheet.svg, encoding="utf-8")
        drawn += paper
    write_pdf(drawn, folders.files / "drawings.pdf", "Parts that are cut, drilled and turned")


def drawings(builds: Builds) -> Iterator[tuple[Part, list[Sheet]]]:
    """Yield each part that is drawn and its sheets."""
    everything = [piece for pieces in builds.values() for piece in counted(pieces)]
    known = uses(everything)
    pieces = {name: Counter(piece.part.number for piece in counted(build)) for name, build in builds.items()}
    for part in parts(builds):
        if part.way in DRAWN:
            counts = {name: count[part.number] for name, count in pieces.items()}
            yield part, sheets(part, Facts(counts, known.get(part.number, {})))
