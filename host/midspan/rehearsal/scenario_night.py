"""An overnight run on the simulated gauge: a hopper of the demonstration's shafts, a check standard and a few mishaps.

Everything is invented. The simulation keeps in files of its folder what became of each shaft, so that a run that was
stopped, or whose host was killed, goes on where it was.
"""

from pathlib import Path
from typing import Any

from midspan.rehearsal.scenario import GAUGE_NAME, rehearsal, shafts

PLAN_FILE = "night.toml"
STOCK, SEED = 36, 7
RETURN = 6
# By number in the hopper: two shafts roll in at once, another stops with an end off its roller, another slips past the
# chute's sensor unseen.
MISHAPS: dict[str, Any] = {"two_at_once": [9], "short": [20], "unseen": [29]}
BAR = {"number": 100, "spine_thou": 499.8, "spread_thou": 0.6, "stiff_side_deg": 20.0, "hysteresis": 0.0002}
PLAN = f"""# A night on the simulated gauge: try it with `midspan sort`, then `midspan report`.
[gauge]
name = "{GAUGE_NAME}"                 # as the gauge calls itself; it is looked for by this name
port = "rehearsal"                 # a real one has a port: see `midspan ports`
calibration = "calibration.toml"   # files are named from this one's folder

[sort]
bands = "bands.toml"
archive = "night-readings.avro"
store = "results.db"
measure_again = 1                  # how often what is doubtful or was not measured gets another try
crack_hysteresis_pct = 1.5         # beyond this a shaft may be cracked: it must not be shot
loaded = 35                        # in the hopper; only for the time left

[[place]]
number = 1
bin = "stiffer dozen"
holds = 20

[[place]]
number = 2
bin = "softer dozen"
holds = 20

[[place]]
number = 3
use = "recheck"                    # doubtful or not measured: look at these yourself
holds = 20

[[place]]
number = 4
use = "rejected"
holds = 30

[[place]]
number = 5
use = "cracked"
holds = 10

[[place]]
number = {RETURN}
use = "standard"                   # leads back into the slot

[[standard]]
name = "bar 1"
assigned_thou = 499.8
u_assigned_thou = 0.15
definition = "normal reactions"
from = "slot"

[checks]
every_shafts = 15
every_minutes = 60
bad_check = "stop"                 # or "continue"; its shafts are suspect either way

[stop]
faults_in_a_row = 3                # and likewise rechecks_in_a_row, uncertain_in_a_row, alarms_in_a_row
wait_minutes = 30                  # for a gauge, a disk or a database that fails
# shafts = 200                     # end after so many, or
# hours = 9.5                      # after so long

[notices]
log = "night.log"                  # always written; webhook and apprise tell people
"""


def scenario_in(folder: Path) -> dict[str, Any]:
    """Return the scenario of an overnight run.

    Parameters
    ----------
    folder : Path
        Folder in which the simulation keeps the state of hopper and chutes.

    Returns
    -------
    dict[str, Any]
        Scenario for `Rehearsal`.
    """
    stock = [shaft for shaft in shafts(STOCK, SEED) if shaft.get("fault") != "absent"]
    given = rehearsal([*stock, BAR], SEED)
    files = {"world": str(folder / "world.txt"), "record": str(folder / "last-release.json")}
    return {**given, "feeder": {"slot": BAR["number"], "return_place": RETURN, **files, **MISHAPS}}


def fill_hopper(folder: Path) -> None:
    """Put every shaft back into the hopper by removing the state that the simulation kept.

    Parameters
    ----------
    folder : Path
        Folder given to `scenario_in`; nothing happens if it has no state.
    """
    for name in ("world.txt", "last-release.json"):
        (folder / name).unlink(missing_ok=True)
