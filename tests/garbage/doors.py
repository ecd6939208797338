"""A folder with everything that commands read, sound, and all the commands that read it."""

import warnings
from random import Random

import numpy as np
from commands_rig import midspan, settings
from hand_rig import TrueBench, readings
from midspan.archive.writer import ArchiveWriter
from midspan.base.clock import now_ms
from midspan.base.errors import MidspanError
from midspan.hand_bench.bench import EXAMPLE
from midspan.rehearsal.scenario_night import PLAN
from midspan.sets.scale import EXAMPLE as SCALE
from midspan.web.follow import Clock, Follower
from midspan.web.views import Views
from night_on_paper import quiet_night
from stores import store_in
from synthetic import Gauge, Shaft, filter_table, raw_run

FIRST, SHAFTS = 9001, 4  # above the numbers of the night on paper
SIZES = '[[size]]\nname = "500"\nspine_thou = [485.0, 515.0]\n'
CYCLE = "[cycle]\nreadings_per_turn = 80\nzero_in_middle = true\npress_mm_s = 12.5\n"
WORKSPACE = (
    '[shop]\nname = "Alder"\n[gauge]\nport = "rehearsal"\n[files]\nbench = "bench.toml"\n[shown]\nacross = "mm"\n'
)
SHEET = "columns = 3\nrows = 8\n"


def toml(table):
    """Return sections of plain values as TOML."""
    lines = []
    for section, values in table.items():
        lines += [
            f"[{section}]",
            *(
                f"{key} = {str(value).lower() if isinstance(value, bool) else repr(value)}"
                for key, value in values.items()
            ),
        ]
    return "\n".join(lines) + "\n"


def shafts(number=SHAFTS):
    """Return runs of a batch that matches well."""
    for i in range(number):
        made = Shaft(number=FIRST + i, spine_thou=499.6 + 0.2 * i)
        yield raw_run(made, Gauge(), np.random.default_rng(i))


def sound(folder):
    """Fill a folder with inputs, an archive, and a database of results, a run, sets, weights and a hand bench."""
    calibration, _bands = settings(folder)
    calibration.write_text(calibration.read_text().replace('gauge = "rehearsal"', 'gauge = "paper"'))
    with ArchiveWriter(folder / "readings.avro") as writer:
        for run in shafts():
            writer.append(run)
    quiet_night(store_in(folder), 12)
    (folder / "bench.toml").write_text(toml(EXAMPLE))
    (folder / "sizes.toml").write_text(SIZES)
    (folder / "sheet.toml").write_text(SHEET)
    (folder / "cycle.toml").write_text(CYCLE)
    (folder / "scale.toml").write_text("".join(f"{key} = {value!r}\n" for key, value in SCALE.items()))
    (folder / "shop.toml").write_text(WORKSPACE)
    plan = PLAN.replace('port = "rehearsal"', 'port = "no-port"')
    plan = plan.replace('name = "rehearsal"', 'name = "attic"').replace('"calibration.toml"', '"gauge.toml"')
    (folder / "night.toml").write_text(plan)
    (folder / "newer.toml").write_text(calibration.read_text().replace('id = "', 'id = "newer-'))
    for i, name in enumerate(("hand.csv", "hand-2.csv", "hand-3.csv")):
        typed = readings(bench=TrueBench(noise=0.004), rng=np.random.default_rng(i))
        rows = [f"{reading.angle_deg},{reading.repeat},{reading.unloaded},{reading.loaded}" for reading in typed]
        (folder / name).write_text("\n".join(["angle_deg,repeat,unloaded,loaded", *rows]) + "\n")
    turned = filter_table(Shaft(), Gauge(stages=(4.0,)), np.random.default_rng(1), a_turn=((44.3, 90.7),), turns=2)
    rows = [",".join(f"{value:.10g}" for value in row) for row in zip(*turned.values(), strict=True)]
    (folder / "turning.csv").write_text("\n".join([",".join(turned), *rows]) + "\n")
    dial = [
        f"{body},{mass},{0.0041 * (body == 'shaft') * (mass > 44):.4f}"
        for body in ("shaft", "steel")
        for mass in (44, 440) * 3
    ]
    (folder / "dial.csv").write_text("\n".join(["body,mass_g,dial_mm", *dial]) + "\n")
    (folder / "span.csv").write_text("span_mm\n711.18\n711.24\n711.21\n711.20\n711.26\n")
    values = Random(1)
    rows = [
        f"{part},{who},500,{500 + part + values.gauss(0, 0.2):.3f},{day}"
        for part in range(5)
        for who in "ab"
        for day in range(3)
    ]
    (folder / "values.csv").write_text("\n".join(["part,appraiser,reference,value,day", *rows]) + "\n")
    (folder / "weights.csv").write_text("shaft,weight_gr\n" + "".join(f"{FIRST + i},31{i}.2\n" for i in range(SHAFTS)))
    (folder / "list.csv").write_text("Name;Spine\nold-1;45\nold-2;52,5\n")
    for line in (
        "recompute readings.avro --calibration gauge.toml --bands bands.toml --store results.db",
        "recompute readings.avro --calibration newer.toml --bands bands.toml --store results.db",
        "hand measure --shaft 9100 --label bar-1 --bench bench.toml --csv hand.csv --store results.db",
        "hand measure --shaft 9100 --label bar-1 --bench bench.toml --csv hand-2.csv --store results.db",
        "hand measure --shaft 9100 --label bar-1 --bench bench.toml --csv hand-3.csv --store results.db",
        "shafts weigh --csv weights.csv",
        "sets make --number 2 --spine 0.4 --keep spring",
        "calibrate span --gauge paper --csv span.csv",
        "calibrate sinking --gauge paper --csv dial.csv",
        "calibrate filter --gauge paper --csv turning.csv --expected-steps 800",
        "hand assign bar-1 --out bar.toml",
        "export results --out all.json",
    ):
        done = midspan(*line.split(), folder=folder)
        assert done.returncode == 0, (line, done.stdout, done.stderr)
    return folder


# What reads the database.
READERS = (
    f"show {FIRST}",
    f"show {FIRST} --json",
    f"show {FIRST} --budget --trials 1000",
    "show bar-1",
    "show bar-1 --json",
    "show 3",
    "report",
    "--workspace shop.toml status --json",
    "sets stock",
    "sets stock --json",
    "sets make --number 2 --customer Ann --order 14",
    "sets make --number 2 --spine 9 --thorough --json",
    "sets show",
    "sets show spring+1",
    "sets show spring+1 --json",
    "sets card spring+1",
    "sets list",
    "sets list spring --here --json",
    "shafts labels --set spring+1",
    "shafts find",
    "shafts find bar --low 495 --high 505 --suspects --json",
    f"shafts show {FIRST}",
    f"shafts show {FIRST} --json",
    "shafts labels --set spring+1 --shape flag --tube 6.5 --paper roll",
    "sets refill spring+1 --lost 2",
    "sets extend spring+1",
    f"shafts size {FIRST} --sizes sizes.toml",
    "shafts size --sizes sizes.toml",
    "shafts which",
    f"shafts which {FIRST} --used",
    "export results --out out.csv",
    "export results --out out.json --all-versions",
    "export results --out out.parquet",
    "export sets --out sets.csv",
    f"plot around {FIRST} --out a.svg",
    "plot around bar-1 --out b.svg",
    f"plot budget {FIRST} --out c.svg",
    f"plot force {FIRST} --out f.svg",
    "plot batch 1 --bands bands.toml --out d.svg",
    "plot batch 2 --out h.svg",
    "plot set spring+1 --out e.svg",
    "plot check bar-1 --out g.svg",
    "study stability --label bar-1",
    "study stock --batch 1,2 --low 490 --high 510",
    "study gauge --batch 2 --batch 3",
    "study chart --label bar-1",
    "study bias --bar bar.toml --tolerance 10",
    "compare batch:1 batch:2 --picture i.svg --details",
    "compare batch:1 set:spring+1 --json",
    "calibrate changes",
    f"calibrate changes {FIRST}",
    "calibrate changes bar-1",
    "hand assign bar-1 --out bar2.toml",
)
# What writes to it, or reads it before it would.
WRITERS = (
    "recompute readings.avro --calibration gauge.toml --bands bands.toml --store results.db",
    "hand measure --shaft 9101 --label bar-2 --bench bench.toml --csv hand.csv --store results.db",
    "hand recompute hand-readings.jsonl --store results.db",
    "shafts weigh --csv weights.csv",
    f"shafts spent {FIRST}",
    f"shafts void {FIRST} --why lid+open",
    f"shafts unvoid {FIRST} --why lid+shut",
    f"shafts label {FIRST} red-1",
    f"shafts note {FIRST} scratch",
    f"shafts tell {FIRST} --customer club --order 14 --size 500 --length 752",
    "sets apart spring+1",
    "sets rename spring+1 Ann",
    "sets order spring+1 --customer Ann --order 14",
    "sets ship spring+1 --on 2026-05-01",
    "sets make --number 2 --spine 5 --keep autumn",
    "sort night.toml --anew --doubtful-calibration",
    "sort night.toml --resume --doubtful-calibration",
)
ARCHIVE = (
    "recompute readings.avro --calibration gauge.toml --json",
    "recompute readings.avro --calibration gauge.toml",
    "recompute readings.avro --calibration gauge.toml --bands bands.toml --store results.db --json",
    f"plot force {FIRST} --out f.svg",
)
# Each file that people write, and what reads it.
INPUTS = {
    "gauge.toml": (
        "recompute readings.avro --calibration gauge.toml --json",
        "sort night.toml --anew",
        "measure --port no-port --calibration gauge.toml --bands bands.toml",
        "cycle --calibration gauge.toml",
    ),
    "bands.toml": (
        "measure --port no-port --calibration gauge.toml --bands bands.toml",
        "recompute readings.avro --calibration gauge.toml --bands bands.toml --json",
        "risk --bands bands.toml --process-mean 500 --process-sd 3 --u 0.23",
        "sort night.toml --anew",
        "plot batch 1 --bands bands.toml --out d.svg",
    ),
    "night.toml": (
        "sort night.toml --anew --doubtful-calibration",
        "cycle --calibration newer.toml --cycle night.toml",
    ),
    "cycle.toml": ("cycle --calibration newer.toml --cycle cycle.toml",),
    "bench.toml": (
        "hand measure --shaft 9101 --label bar-2 --bench bench.toml --csv hand.csv --store results.db",
        "hand budget --bench bench.toml",
        "hand recompute hand-readings.jsonl --bench bench.toml --store results.db",
    ),
    "shop.toml": (
        "--workspace shop.toml status",
        "--workspace shop.toml hand budget",
    ),
    "sizes.toml": ("shafts size --sizes sizes.toml",),
    "sheet.toml": ("shafts labels --set spring+1 --sheet sheet.toml",),
    "scale.toml": ("shafts weigh 9001 --scale scale.toml",),
    "bar.toml": ("study bias --bar bar.toml --tolerance 10",),
    "hand.csv": ("hand measure --shaft 9101 --label bar-2 --bench bench.toml --csv hand.csv --store results.db",),
    "values.csv": (
        "study gauge --csv values.csv",
        "study stability --csv values.csv",
        "study stock --csv values.csv",
        "study chart --csv values.csv",
    ),
    "weights.csv": ("shafts weigh --csv weights.csv",),
    "list.csv": ("shafts import list.csv --column label=Name --column spine=Spine --unit pounds --u 1.5",),
    "span.csv": ("calibrate span --gauge paper --csv span.csv",),
    "dial.csv": ("calibrate sinking --gauge paper --csv dial.csv",),
    "turning.csv": ("calibrate filter --gauge paper --csv turning.csv --expected-steps 800",),
    "record.json": ("calibrate file --records calibration --out made.toml",),
}


def words(line):
    """Return the arguments of a command; + stands for a blank within a name."""
    return [word.replace("+", " ") for word in line.split()]


def tried(line, folder):
    """Return what is wrong with how a command ended, an empty text if it obeyed or refused in one line."""
    with warnings.catch_warnings(record=True) as heard:
        warnings.simplefilter("always")
        try:
            done = midspan(*words(line), folder=folder)
        except Exception as error:  # noqa: BLE001 - whatever it is, a user would see a traceback
            return _where(error)
    if done.returncode not in (0, 1, 130):
        return f"ends with {done.returncode}: {done.stderr.strip()[-160:]}"
    said = [line for line in done.stderr.splitlines() if line.startswith("midspan: ")]
    asked = "status" in words(line)  # ends with 1 where something is missing, which is its answer
    if done.returncode == 1 and not asked and (len(said) != 1 or not done.stderr.endswith(said[0] + "\n")):
        return f"fails with {len(said)} lines: {done.stderr[-160:]}"
    if said and len(said[0]) > LONGEST_LINE:
        return f"a line of {len(said[0])} signs"
    wild = [sign for sign in done.stdout + done.stderr if not sign.isprintable() and sign != "\n"]
    if wild:
        return f"prints {wild[0]!r}"
    loud = [warning for warning in heard if issubclass(warning.category, RuntimeWarning)]
    return f"warns: {loud[0].message} at {loud[0].filename.rsplit('/')[-1]}:{loud[0].lineno}" if loud else ""


LONGEST_LINE = 4000


def _where(error):
    """Return the kind of an error and the last place in Midspan it came from."""
    place, trace = "", error.__traceback__
    while trace is not None:
        name = trace.tb_frame.f_code.co_filename
        if "/midspan/" in name:
            place = f"{name.rsplit('/')[-1]}:{trace.tb_lineno}"
        trace = trace.tb_next
    return f"{type(error).__name__} at {place}: {str(error)[:80]}"


def viewed(folder):
    """Return what is wrong with the views of the page on a database, by their names; refusals are accepted."""
    wrong = {}
    try:
        follower = Follower(store_in(folder))
    except MidspanError:
        return wrong
    views = Views(follower, Clock(now_ms))
    for name, make in {
        "live": lambda: views.live(views.night(None)),
        "nights": views.nights,
        "sets": views.sets,
        "set": lambda: views.set(1),
        "shafts": lambda: views.shafts(1, 0),
        "shaft": lambda: views.shaft(FIRST),
        "hand": lambda: views.shaft(9100),
        "csv": lambda: views.csv(FIRST),
        "which": lambda: views.which("bar-1"),
    }.items():
        try:
            make()
        except MidspanError:
            continue
        except Exception as error:  # noqa: BLE001 - whatever it is, a looker would see that the page broke
            wrong[name] = _where(error)
    follower.close()
    return wrong
