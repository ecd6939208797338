"""The tables of parts.md, from the parts list that was counted in the solid model and from what no model shows."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

NOTES = Path(__file__).parents[1]
FILES = NOTES / "files"
COUNTED = FILES / "parts.csv"
BESIDE = NOTES / "not_modelled.csv"
FASTENERS = ("ISO ", "DIN ", "slot nut", "chipboard")
Row = dict[str, str]


def rows(path: Path = COUNTED) -> list[Row]:
    """Return the lines of a parts list."""
    with path.open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def builds() -> list[str]:
    """Return the names of the builds, in order."""
    names = list(rows()[0])
    return names[names.index("price_eur") + 1 : names.index("steps")]


def tables() -> dict[str, str]:
    """Return each table of parts.md by its name."""
    parts = rows()
    made = [row for row in parts if row["way"] != "bought"]
    bought = [row for row in parts if row["way"] == "bought"]
    standard = [row for row in bought if row["designation"].startswith(FASTENERS)]
    return {
        "builds": _builds(),
        "made": _table(made, ("number", "name", "way", "of"), _made),
        "bought": _table([row for row in bought if row not in standard], ("number", "name", "what"), _bought),
        "standard": _table(standard, ("number", "name", "what"), _bought),
        "beside": _table(rows(BESIDE), ("name", "what"), lambda row: [row["name"], row["designation"]]),
    }


def _table(parts: Iterable[Row], head: Iterable[str], cells: Callable[[Row], list[str]]) -> str:
    """Return a table with the cells of each part, its pieces in each build and its price."""
    head, names = list(head), builds()
    lines = [[*head, *names, "EUR each"], ["---"] * len(head) + ["---:"] * (len(names) + 1)]
    lines += [
        [*cells(row), *(pieces(row, name) or "" for name in names), f"{float(row['price_eur']):.2f}"] for row in parts
    ]
    return "".join(f"| {' | '.join(map(str, line))} |\n" for line in lines)


def pieces(row: Row, build: str) -> int:
    """Return how many pieces a build has of a part."""
    return int(row.get(build) or 0)


def _made(row: Row) -> list[str]:
    material = "" if row["material"] in row["designation"] else f"{row['material']}: "
    return [row["number"], _linked(row), row["way"], f"{material}{row['designation']}".rstrip(": ")]


def _bought(row: Row) -> list[str]:
    return [row["number"], row["name"], row["designation"]]


def _linked(row: Row) -> str:
    """Return a part's name, with a link to the file that it is printed or cut from."""
    for folder in ("printed", "cut"):
        for path in (FILES / folder).glob(f"{row['number']}-*"):
            return f"[{row['name']}]({path.relative_to(NOTES).as_posix()})"
    return row["name"]


def cost_beside(build: str) -> float:
    """Return what a build costs that is not in the model, EUR."""
    return sum(float(row["price_eur"]) * pieces(row, build) for row in rows(BESIDE))


def _builds() -> str:
    """Return what each build comes to."""
    figures = json.loads((FILES / "figures.json").read_text(encoding="utf-8"))
    told = [_told(figures[name]) for name in builds()]
    lines = [["", *builds()], ["---", *["---:"] * len(told)]]
    lines += [[label, *(each[label] for each in told)] for label in told[0]]
    return "".join(f"| {' | '.join(map(str, line))} |\n" for line in lines)


def _told(found: dict[str, Any]) -> dict[str, str | int]:
    """Return the lines of a build in the table."""
    hours = found["hours_estimated"]
    return {
        "kinds of parts made": found["parts_made"],
        "pieces made": found["pieces_made"],
        "kinds of parts bought": found["parts_bought"],
        "pieces bought": found["pieces_bought"],
        "mass, kg": f"{found['mass_kg']:.1f}",
        "parts of the model, EUR": found["cost_of_pieces_eur"],
        "what is not in the model, EUR": found["cost_eur"] - found["cost_of_pieces_eur"],
        "together, EUR": found["cost_eur"],
        "printer, hours (estimate)": hours["printer"],
        "making parts, hours (estimate)": hours["making"],
        "putting together, hours (estimate)": hours["assembling"],
    }
