"""Prints every figure as a table and writes them to bench-results.json.

    python tests/bench [name ...]

Speed is given as ratios measured in one run, beside the absolute values of this machine.
"""

import json
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "rigs"))

from rich.console import Console
from rich.table import Table

from bench import (
    backup,
    board_cost,
    converter_filter,
    coverage,
    cycle,
    device_cost,
    effects,
    efficiency,
    night,
    nut,
    page,
    plans,
    recognition,
    report,
    sets,
    startup,
    throughput,
    twins,
)

PARTS = {
    "cycle": cycle.figures,
    "plans": plans.figures,
    "throughput": throughput.figures,
    "efficiency": efficiency.figures,
    "coverage": coverage.figures,
    "effects": effects.figures,
    "filter": converter_filter.figures,
    "device": device_cost.figures,
    "board": board_cost.figures,
    "night": night.figures,
    "nut": nut.figures,
    "startup": startup.figures,
    "report": report.figures,
    "sets": sets.figures,
    "twins": twins.figures,
    "recognition": recognition.figures,
    "page": page.figures,
    "backup": backup.figures,
}


def main(names):
    """Run the parts named, or all."""
    unknown = set(names) - PARTS.keys()
    if unknown:
        raise SystemExit(f"bench: no part {', '.join(unknown)}; there are {', '.join(PARTS)}")
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for name in names or PARTS:
            print(f"measuring {name} ...", file=sys.stderr)
            rows += PARTS[name](Path(folder))
    table = Table(box=None, header_style="bold")
    for heading in ("figure", "measured", "aim", "met"):
        table.add_column(heading)
    for row in rows:
        table.add_row(row.name, row.text, row.aim, {True: "yes", False: "NO", None: ""}[row.met])
    Console(width=140).print(table)
    Path("bench-results.json").write_text(json.dumps([row.as_dict() for row in rows], indent=1), encoding="utf-8")
    return all(row.met is not False for row in rows)


if __name__ == "__main__":
    sys.exit(0 if main(sys.argv[1:]) else 1)
