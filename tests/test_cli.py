"""The command line as a newcomer meets it: help, the demonstration, results as tables and as JSON."""

import json
import re
import shlex
import subprocess
import sys

import fastavro
import pytest
import typer
from commands_rig import COMMAND, midspan
from midspan.cli import app
from midspan.decision import Outcome
from midspan.store import Store

GROUP = typer.main.get_command(app)
NAMES = sorted(GROUP.commands)


@pytest.fixture(scope="module")
def demonstrated(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    return folder, midspan("demo", "--folder", folder)


def leaves(group, path=()):
    """Every command with its words, those of sub-groups included."""
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from leaves(command, (*path, name))
        else:
            yield (*path, name), command


@pytest.mark.parametrize(("words", "command"), list(leaves(GROUP)), ids=lambda value: str(value)[:30])
def test_every_command_has_help_with_an_example_that_parses(words, command):
    assert command.help
    found = re.match(r"Example: midspan (.+)", command.epilog or "")
    assert found, words
    arguments = shlex.split(found.group(1))
    assert tuple(arguments[: len(words)]) == words
    context = command.make_context(words[-1], arguments[len(words) :], resilient_parsing=False)
    assert context.params


def test_help_names_every_command_and_loads_nothing_heavy():
    done = midspan("--help")
    assert done.returncode == 0
    assert all(name in done.stdout for name in NAMES)
    script = (
        "import sys, midspan.cli; print(*{'numpy', 'scipy', 'sqlalchemy', 'matplotlib', 'pydantic'} & {*sys.modules})"
    )
    loaded = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert loaded.stdout.strip() == ""


def test_the_demonstration_shows_all_four_outcomes_and_says_where_things_are(demonstrated):
    folder, done = demonstrated
    assert done.returncode == 0, done.stderr
    for word in ("stiffer dozen", "rejected: ", "doubtful: ", "instrument fault: ", "± U with k = 2"):
        assert word in done.stdout
    for name in ("readings.avro", "results.db", "calibration.toml", "bands.toml"):
        assert str(folder / name) in done.stdout
    assert "MicroPython" in done.stdout or "CPython" in done.stdout
    assert len(re.findall(r"^measured ", done.stderr, re.MULTILINE)) == 36  # progress, where there is no terminal


def test_the_demonstration_leaves_archive_database_and_picture(demonstrated):
    folder, _ = demonstrated
    with (folder / "readings.avro").open("rb") as file:
        runs = list(fastavro.reader(file))
    assert [run["shaft"] for run in runs] == list(range(1, 37))
    with Store.open(folder / "results.db") as store:
        verdicts = [one.decision.outcome for one in store.batch(1)]
    assert len(verdicts) == 36
    assert set(verdicts) == set(Outcome)
    (picture,) = folder.glob("shaft-*.png")
    assert picture.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert picture.stat().st_size > 20_000


def test_a_narrow_screen_keeps_spine_spread_and_verdict(tmp_path):
    script = "import rich.console as c, midspan.report as r; r.console = lambda: c.Console(width=80, markup=False)\n"
    script += "import sys; from midspan.cli import main; sys.argv[0] = 'midspan'; main()"
    arguments = [sys.executable, "-c", script, "demo", "--shafts", "8", "--folder", str(tmp_path)]
    done = subprocess.run(arguments, capture_output=True, text=True, check=True)
    assert max(map(len, done.stdout.splitlines())) <= 80 + len(str(tmp_path))
    assert re.search(r"^1 \S.* ± .* ± ", done.stdout, re.MULTILINE)


def test_recompute_gives_valid_json_and_the_stored_numbers_to_the_bit(demonstrated):
    folder, _ = demonstrated
    done = midspan("recompute", folder / "readings.avro", "--calibration", folder / "calibration.toml", "--json")
    assert done.returncode == 0, done.stderr
    again = json.loads(done.stdout, parse_constant=pytest.fail)
    assert [one["shaft"] for one in again] == list(range(1, 37))
    with Store.open(folder / "results.db") as store:
        stored = {one.run.shaft: one.result for one in store.batch(1)}
    for one in again:
        if "unmeasured" in one:
            assert stored[one["shaft"]] is None
        else:
            assert stored[one["shaft"]] == {name: one[name] for name in stored[one["shaft"]]}


def test_recompute_judges_when_it_has_bands(demonstrated):
    folder, _ = demonstrated
    arguments = ("--calibration", folder / "calibration.toml", "--bands", folder / "bands.toml", "--json")
    rows = json.loads(midspan("recompute", folder / "readings.avro", *arguments).stdout)
    assert {row["outcome"] for row in rows} == {str(outcome) for outcome in Outcome}
    assert all((row["bin"] is not None) == (row["outcome"] == "accepted") for row in rows)


def test_show_tells_a_shaft_with_its_budget_and_draws_it(demonstrated, tmp_path):
    folder, _ = demonstrated
    picture = tmp_path / "shaft.svg"
    done = midspan("show", "1", "--store", folder / "results.db", "--picture", picture)
    assert done.returncode == 0, done.stderr
    for word in ("static spine", "26 in, 2 lb", "four readings", "stiff side", "runout", "hysteresis", "together"):
        assert word in done.stdout
    assert "<svg" in picture.read_text()
    shown = json.loads(midspan("show", "1", "--store", folder / "results.db", "--json").stdout)
    assert sum(u * u for u in shown["budget"].values()) == pytest.approx(shown["u_spine_thou"] ** 2)


def test_a_shaft_is_measured_on_the_simulated_gauge(demonstrated, tmp_path):
    folder, _ = demonstrated
    arguments = ("--calibration", folder / "calibration.toml", "--bands", folder / "bands.toml", "--json")
    done = midspan("measure", "--port", "rehearsal", "--shaft", 4, "--label", "[mine]", *arguments, folder=tmp_path)
    assert done.returncode == 0, done.stderr
    measured = json.loads(done.stdout)
    assert (measured["shaft"], measured["label"]) == (4, "[mine]")
    shown = midspan("show", "[mine]", "--store", tmp_path / "results.db")
    assert "[mine]" in shown.stdout


def test_an_output_that_closes_early_is_no_crash(demonstrated):
    folder, _ = demonstrated
    arguments = ["recompute", folder / "readings.avro", "--calibration", folder / "calibration.toml", "--json"]
    process = subprocess.Popen([*COMMAND, *map(str, arguments)], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    process.stdout.read(10)
    process.stdout.close()
    assert b"Traceback" not in process.stderr.read()
    process.stderr.close()
    process.wait()


def test_ports_answers_in_words_and_in_json():
    assert midspan("ports").stdout.strip()
    assert isinstance(json.loads(midspan("ports", "--json").stdout), list)
