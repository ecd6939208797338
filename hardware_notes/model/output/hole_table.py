"""The table beside a part's views: every hole with its place, and what else is round."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from string import ascii_uppercase

from build123d import Solid
from drawings.draw_svg import number

from model.output.features import ENGRAVED_MM, Round, cones, crowns, rounds, slants

ACROSS = {"x": "yz", "y": "xz", "z": "xy"}
OUTER, SMALL = "Outer corner", 2.5  # whose small ones need no place
Datum = Mapping[str, float]


@dataclass(frozen=True)
class Hole:
    """A hole with its label on the drawing, and its place across its axis from the datum."""

    label: str
    along: str
    place: tuple[float, float]
    diameter: float


@dataclass(frozen=True)
class Row:
    """A line of the table: a heading, or a label with its values."""

    cells: tuple[str, ...]
    heading: bool = False


def table(solid: Solid, datum: Datum, uses: Mapping[Round, str]) -> tuple[list[Hole], list[Row]]:
    """Return the holes with their labels, and the lines of the table; `uses` says what a hole is for."""
    found = rounds(solid)
    holes: list[Hole] = []
    rows: list[Row] = []
    for letter, (kind, group) in zip(_letters(), _kinds(found, datum, uses).items(), strict=False):
        along, words = kind[0], kind[-1]
        rows.append(Row((f"{letter}   {words}",), heading=True))
        for index, place in enumerate(sorted(_place(each, along, datum) for each in group), start=1):
            label = letter if len(group) == 1 else f"{letter}{index}"
            holes.append(Hole(label, along, place, 2 * group[0].radius))
            values = (f"{name} {number(value)}" for name, value in zip(ACROSS[along], place, strict=True))
            rows.append(Row((label, *values)))
    rows += _others(solid, found, datum)
    return holes, rows


def _kinds(found: list[Round], datum: Datum, uses: Mapping[Round, str]) -> dict[tuple, list[Round]]:
    """Return the holes by what they have in common; the words about it are the last of the key."""
    kinds: dict[tuple, list[Round]] = defaultdict(list)
    for each in found:
        if each.whole and each.hollow and each.along:
            kinds[each.along, -each.radius, each.low, each.high, _words(each, datum, uses.get(each, ""))].append(each)
    order = {"z": 0, "y": 1, "x": 2}
    return dict(sorted(kinds.items(), key=lambda item: (order[item[0][0]], *item[0][1:])))


def _words(hole: Round, datum: Datum, use: str) -> str:
    """Return diameter, direction, depth and use of a hole."""
    if hole.through:
        depth = f"through {number(hole.high - hole.low)}"
    else:
        low, high = hole.low - datum[hole.along], hole.high - datum[hole.along]
        depth = f"{number(high - low)} deep, {hole.along} {number(low)} to {number(high)}"
    direction = "" if hole.along == "z" else f" along {hole.along}"
    return f"Ø {number(2 * hole.radius)}{direction}, {depth}" + (f": {use}" if use else "")


def _place(each: Round, along: str, datum: Datum) -> tuple[float, float]:
    values = dict(zip("xyz", each.foot, strict=True))
    return tuple(round(values[name] - datum[name], 3) + 0.0 for name in ACROSS[along])


def _others(solid: Solid, found: list[Round], datum: Datum) -> Iterator[Row]:
    """Yield what else is round: turned diameters, cones, rounded corners and ends of slots."""
    turned = [each for each in found if each.whole and not each.hollow and each.along]
    if turned:
        yield Row(("Round",), heading=True)
        for each in turned:
            low, high = (value - datum[each.along] for value in (each.low, each.high))
            yield Row((f"Ø {number(2 * each.radius)}", f"{each.along} {number(low)} to {number(high)}"))
    if crowns(solid):
        yield Row(("Rounded around: " + ", ".join(f"R {number(radius)}" for radius in crowns(solid)),), heading=True)
    sunk = sorted({f"{number(cone.angle)}° to Ø {number(cone.diameter)}" for cone in cones(solid)})
    if sunk:
        yield Row(("Countersunk or chamfered: " + ", ".join(sunk),), heading=True)
    sloping = slants(solid)
    if sloping:
        yield Row(("Slanting faces, from edge to edge",), heading=True)
    for along, ends in sloping:
        yield Row(("", " to ".join(_written(along, end, datum) for end in ends)))
    corners: dict[tuple[str, float], list[str]] = defaultdict(list)
    for each in found:
        if not each.whole and each.along and each.high - each.low > ENGRAVED_MM:
            kind = "Slot's end or inner corner" if each.hollow else OUTER
            corners[kind, each.radius].append(" ".join(map(number, _place(each, each.along, datum))))
    for (kind, radius), places in sorted(corners.items()):
        yield Row((f"{kind} R {number(radius)}, {len(places)} of them",), heading=True)
        if radius > SMALL or kind != OUTER:
            for place in sorted(set(places)):
                yield Row(("", f"centre {place}"))


def _written(along: str, end: tuple[float, float], datum: Datum) -> str:
    """Return a place across an axis in words."""
    return " ".join(f"{name} {number(value - datum[name])}" for name, value in zip(ACROSS[along], end, strict=True))


def _letters() -> Iterator[str]:
    """Yield A to Z without I and O, then AA and so on."""
    plain = [letter for letter in ascii_uppercase if letter not in "IO"]
    yield from plain
    for first in plain:
        for second in plain:
            yield first + second
