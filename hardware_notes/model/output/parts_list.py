"""The parts list, counted from the pieces of the builds, and each build's mass, cost, time and footing."""

from __future__ import annotations

import csv
import json
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from drawings.draw_parts import cost_beside

from model.output.features import rounds
from model.output.meshes import corners
from model.piece import Part, Piece, Way
from model.press import hanging

HEAD = ("number", "name", "way", "material", "designation", "mass_g", "price_eur")
CLEARLY_MM = 0.5  # above the lowest point of a build: what still stands on the table

# Hours for a workshop of one, common practice, no source: they compare the builds and promise nothing.
PRINT_G_H = 15.0
HANDS_H = {Way.PRINTED: 0.1, Way.CUT: 0.2, Way.MACHINED: 0.35, Way.TURNED: 0.7, Way.BOUGHT: 0.0}
HOLE_H = {Way.CUT: 0.08, Way.MACHINED: 0.08, Way.TURNED: 0.1}  # a cutter makes the holes along z
FASTEN_H, PUT_IN_H = 0.02, 0.08
Builds = Mapping[str, Sequence[Piece]]


def counted(pieces: Sequence[Piece]) -> list[Piece]:
    """Return the pieces that somebody makes or buys: all but the shafts."""
    return [piece for piece in pieces if piece.part.material != "shaft"]


def parts(builds: Builds) -> list[Part]:
    """Return each kind of part of any build, in the order of their numbers."""
    found = {piece.part.number: piece.part for pieces in builds.values() for piece in counted(pieces)}
    return [found[number] for number in sorted(found, key=by_number)]


def by_number(number: str) -> tuple[bool, str, int]:
    """Return what a part number sorts by: made parts first, then standard parts.

    >>> sorted(["N10", "S02", "B01", "N9"], key=by_number)
    ['B01', 'S02', 'N9', 'N10']
    """
    return number[0] == "N", number[0], int(number[1:])


def write_parts(builds: Builds, path: Path) -> Path:
    """Write the parts list and return the file: a line for each part, its pieces in each build and in each step."""
    pieces = {name: Counter(piece.part.number for piece in counted(build)) for name, build in builds.items()}
    steps = pieces_in_steps(builds)
    with path.open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow([*HEAD, *builds, "steps"])
        for part in parts(builds):
            table.writerow([
                part.number, part.name, part.way, part.material, part.designation, f"{part.grams:.1f}",
                f"{part.price_eur:.2f}", *(pieces[name][part.number] for name in builds),
                "; ".join(f"{step}: {count}" for step, count in steps.get(part.number, {}).items()),
            ])  # fmt: skip
    return path


def pieces_in_steps(builds: Builds) -> dict[str, dict[str, str]]:
    """Return by part number the steps that it goes in, in order, with its pieces in each.

    Where builds that have the step differ, there is a number for each of them, in their order: "1/0".
    """
    counts = {
        name: Counter((piece.part.number, piece.step) for piece in counted(build)) for name, build in builds.items()
    }
    keys = {key for count in counts.values() for key in count if key[1]}
    found: dict[str, dict[str, str]] = {}
    for number, step in sorted(keys, key=lambda key: step_order(key[1])):
        here = [count[number, step] for count in counts.values() if any(known == step for _, known in count)]
        found.setdefault(number, {})[step] = "/".join(map(str, here[:1] if len(set(here)) == 1 else here))
    return found


def step_order(step: str) -> tuple[bool, int]:
    """Return what a step sorts by: the hand bench's first.

    >>> sorted(["10 side plates", "2 stands", "H1"], key=step_order)
    ['H1', '2 stands', '10 side plates']
    """
    first = step.split()[0] if step else "0"
    return not first.startswith("H"), int("".join(letter for letter in first if letter.isdigit()) or 0)


def figures(pieces: Sequence[Piece]) -> dict[str, Any]:
    """Return what a build comes to: parts, pieces, mass, what hangs on the carriage, balance, cost, hours."""
    pieces = counted(pieces)
    kinds = {piece.part.number: piece.part for piece in pieces}
    made = [piece for piece in pieces if piece.part.way is not Way.BOUGHT]
    low, high = footing(pieces)
    return {
        "parts_made": sum(part.way is not Way.BOUGHT for part in kinds.values()),
        "parts_bought": sum(part.way is Way.BOUGHT for part in kinds.values()),
        "pieces_made": len(made),
        "pieces_bought": len(pieces) - len(made),
        "mass_kg": round(sum(piece.part.grams for piece in pieces) / 1000, 2),
        "moving_g": round(sum(piece.part.grams for piece in hanging(pieces)), 1),
        "centre_of_mass_mm": [round(value, 1) for value in centre_of_mass(pieces)],
        "footing_mm": {"x": [low[0], high[0]], "y": [low[1], high[1]]},
        "cost_of_pieces_eur": round(sum(piece.part.price_eur for piece in pieces)),
        "hours_estimated": {name: round(hours) for name, hours in time_to_make(pieces).items()},
    }


def centre_of_mass(pieces: Sequence[Piece]) -> np.ndarray:
    """Return where the centre of mass of the pieces lies, mm; a hollow piece's is taken as that of its outer form."""
    masses = np.array([piece.part.grams for piece in pieces])
    middles = np.array([tuple(piece.solid.center()) for piece in pieces])
    return masses @ middles / masses.sum()


def footing(pieces: Sequence[Piece]) -> tuple[list[float], list[float]]:
    """Return the corners, in x and y, of the box around all that stands on the table, mm."""
    points = corners(pieces)
    on_table = points[points[:, 2] < points[:, 2].min() + CLEARLY_MM]
    return [np.round(end[:2], 1).tolist() for end in (on_table.min(axis=0), on_table.max(axis=0))]


def time_to_make(pieces: Sequence[Piece]) -> dict[str, float]:
    """Return estimated hours: of a printer, of hands that make parts, and of hands that put all together."""
    printer = sum(piece.part.grams for piece in pieces if piece.part.way is Way.PRINTED) / PRINT_G_H
    work = {piece.part.number: _work(piece.part) for piece in pieces}
    hands = sum(work[piece.part.number] for piece in pieces)
    fast = sum(piece.part.designation.startswith(("ISO", "DIN", "slot nut", "chipboard")) for piece in pieces)
    return {"printer": printer, "making": hands, "assembling": FASTEN_H * fast + PUT_IN_H * (len(pieces) - fast)}


def _work(part: Part) -> float:
    """Return the hours of hands for a piece."""
    holes = [each for each in rounds(part.shape) if each.hollow and each.whole]
    if part.way is Way.CUT:
        holes = [hole for hole in holes if hole.along != "z"]
    return HANDS_H[part.way] + HOLE_H.get(part.way, 0.0) * len(holes)


def write_figures(builds: Builds, path: Path) -> Path:
    """Write what each build comes to, what no model shows in its cost, and return the file."""
    content = {name: figures(pieces) for name, pieces in builds.items()}
    for name, found in content.items():
        found["cost_eur"] = round(found["cost_of_pieces_eur"] + cost_beside(name))
    path.write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
    return path
