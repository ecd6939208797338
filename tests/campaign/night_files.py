"""The files of a night in the campaign: an invented stock of shafts, a plan, and the host's calibration and bands.

The values of any two shafts lie so far apart that one taken for the other is seen at once.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

from midspan.measurement.cycle_settings import CycleSettings
from midspan.rehearsal import scenario

STANDARD = 9000  # own number of the check standard in its slot
STANDARD_THOU = 500.0
BAR = {"spine_thou": STANDARD_THOU, "spread_thou": 1.0}
RECHECK, REJECTED, CRACKED, RETURN = 5, 6, 7, 8
ROOM_BYTES = 900  # in a file, on a full disk: enough for a few words, and less than archive and database have
STEP_THOU = 2.5  # between the shafts of the stock: ten times what is stated as their uncertainty, and more
BINS = {1: (400.0, 450.0), 2: (450.0, 500.0), 3: (500.0, 550.0), 4: (550.0, 600.0)}
PLAN = """[gauge]
name = "{name}"
port = "{port}"
calibration = "gauge.toml"

[sort]
bands = "bands.toml"
store = "{store}"
crack_hysteresis_pct = 1.5
loaded = {shafts}

{places}
[[standard]]
name = "invented bar"
assigned_thou = {standard_thou}
u_assigned_thou = 0.3
definition = "normal reactions"

[checks]
every_shafts = {every_shafts}
every_minutes = 600
bad_check = "continue"
rules = "limits"

{cycle}

[stop]
faults_in_a_row = 100
rechecks_in_a_row = 100
uncertain_in_a_row = 100
alarms_in_a_row = 100
wait_minutes = {wait_minutes}
"""

# The shortest cycle that still gives a value, so that a shaft is measured in a moment.
SHORTEST = CycleSettings(readings_per_turn=44, zero_readings=12, seat_turns=0.1)


@dataclass
class Stock:
    """Shafts in the hopper by their own numbers, with their truths, and others that lie elsewhere.

    `feeder` are the feeder's keys of the scenario, `gauge` the gauge's that are not the usual ones.
    """

    shafts: dict[int, dict[str, Any]]
    feeder: dict[str, Any] = field(default_factory=dict)
    others: dict[int, dict[str, Any]] = field(default_factory=lambda: {STANDARD: dict(BAR)})
    seed: int = 1
    gauge: dict[str, Any] = field(default_factory=dict)

    def truth(self, own: int) -> dict[str, Any]:
        """Return the true description of a shaft."""
        return self.shafts.get(own) or self.others[own]


def stock(number: int, seed: int, **feeder: Any) -> Stock:
    """So many sound shafts in random order, one in twelve cracked and one in twelve uneven."""
    random = Random(seed)
    steps = list(range(int((BINS[4][1] - BINS[1][0]) / STEP_THOU) - 2))
    shafts = {}
    for own in range(1, number + 1):
        spine_thou = BINS[1][0] + STEP_THOU * (steps[random.randrange(len(steps))] + 1.5)
        truth = {"spine_thou": spine_thou, "spread_thou": 2.0, "stiff_side_deg": random.uniform(0, 180), "bow_mm": 0.05}
        if own % 12 == 5:
            truth["hysteresis"] = 0.03
        elif own % 12 == 11:
            truth["spread_thou"] = 14.0
        shafts[own] = truth
    return Stock(shafts, feeder, seed=seed)


def true_place(truth: Mapping[str, Any]) -> int:
    """Return the place where a perfect gauge would put a shaft."""
    if truth.get("hysteresis", 0) > 0.015:
        return CRACKED
    if truth.get("spread_thou", 0) > 10:
        return REJECTED
    return next(place for place, (low, high) in BINS.items() if low <= truth["spine_thou"] < high)


def write(
    folder: Path,
    stock: Stock,
    port: str,
    *,
    name: str = "rehearsal",
    store: str = "results.db",
    wait_minutes: float = 30.0,
    every_shafts: int = 12,
    cycle: CycleSettings = SHORTEST,
) -> None:
    """Write scenario.json, plan.toml, gauge.toml and bands.toml; `name` is the gauge's, `store` the database."""
    folder.mkdir(parents=True, exist_ok=True)
    given = [{"number": own, **truth} for own, truth in (stock.shafts | stock.others).items()]
    feeder = {
        "name": name, "places": 8, "guards": 3, "slot": STANDARD, "return_place": RETURN, "hopper": list(stock.shafts),
        "world": str(folder / "world.txt"), "record": str(folder / "release.json"), **stock.feeder,
    }  # fmt: skip
    whole = {**scenario.rehearsal(given, stock.seed), "feeder": feeder}
    whole["gauge"] = {**whole["gauge"], "drop_chance": 0.0, "spike_chance": 0.0, "repeat_chance": 0.0, **stock.gauge}
    (folder / "scenario.json").write_text(json.dumps(whole))
    calibration = scenario.example_calibration(1).replace(f'"{scenario.GAUGE_NAME}', f'"{name}')  # its id too
    (folder / "gauge.toml").write_text(calibration)
    (folder / "bands.toml").write_text(_bands())
    (folder / "plan.toml").write_text(
        PLAN.format(
            name=name, store=store, port=port, shafts=len(stock.shafts), places="\n".join(_places()),
            standard_thou=STANDARD_THOU + 0.2, wait_minutes=wait_minutes, every_shafts=every_shafts,
            cycle=_table(cycle),
        )
    )  # fmt: skip


def _table(cycle: CycleSettings) -> str:
    """Return a cycle as the table of a plan."""
    keys = cycle.model_dump(exclude_defaults=True, mode="json")
    return "\n".join(["[cycle]", *(f"{key} = {json.dumps(value)}" for key, value in keys.items())])


def _bands() -> str:
    """Simple rule: the value decides, so that no shaft of the stock is doubtful for lying at a limit."""
    bins = (
        f'[[bin]]\nname = "bin {place}"\nspine_thou = [{low}, {high}]\nspread_max_thou = 8.0\nrunout_max_thou = 12.0\n'
        for place, (low, high) in BINS.items()
    )
    return '[rule]\nkind = "simple"\n\n' + "\n".join(bins)


def _places() -> Iterable[str]:
    for place in BINS:
        yield f'[[place]]\nnumber = {place}\nbin = "bin {place}"\nholds = 5000\n'
    for place, use in ((RECHECK, "recheck"), (REJECTED, "rejected"), (CRACKED, "cracked")):
        yield f'[[place]]\nnumber = {place}\nuse = "{use}"\nholds = 5000\n'
    yield f'[[place]]\nnumber = {RETURN}\nuse = "standard"\n'
