"""The command line as a newcomer meets it: help, the demonstration, results as tables and as JSON."""

import errno
import json
import math
import os
import re
import shlex
import signal
import subprocess
import sys
from functools import partial

import fastavro
import pytest
import typer
from commands_rig import COMMAND, complaint, midspan, refusal, settings
from matplotlib.image import imread
from midspan.base.errors import OutputError
from midspan.cli.main import app
from midspan.cli.options import LONGEST_LABEL
from midspan.cli.workspace_options import default_map, options_stated
from midspan.decision.decision import Outcome
from midspan.link.session_events import BlockCame
from midspan.measurement.calibration import load_calibration
from midspan.measurement.result import ShaftResult
from midspan.measurement.spine_budget import CAUSES
from midspan.pipeline import bench
from midspan.rehearsal import scenario
from midspan.store.stored_result import plain
from midspan.wire.records import Phase
from midspan.workspace.settings import USUAL, Workspace
from places import ROOT
from rehearsal_rig import mechanics
from screens import NUMBERS, screen
from stores import store_in

pytestmark = pytest.mark.process

GROUP = typer.main.get_command(app)
NAMES = sorted(GROUP.commands)


@pytest.fixture(scope="module")
def demonstrated(tmp_path_factory):
    """Return the folder of the demonstration, run as `make demo` runs it, and the process that has ended."""
    folder = tmp_path_factory.mktemp("demo")
    environment = {name: value for name, value in os.environ.items() if name != "COLUMNS"}
    command = [*COMMAND, "demo", "--folder", str(folder)]
    return folder, subprocess.run(command, capture_output=True, text=True, env=environment, timeout=600)


def leaves(group, path=()):
    """Yield every command with its words, those of sub-groups included."""
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
    context = command.make_context(words[-1], arguments[len(words) :], default_map=default_map(command, STATED, words))
    assert context.params


# Examples are called in a workspace, which states these.
STATED = options_stated(Workspace.model_validate({"gauge": {"port": "rehearsal"}, "files": USUAL}))


def understood(words, command, option, text):
    """Return what a command makes of an option's text beside its example, None if it refuses the text."""
    example = shlex.split(command.epilog.removeprefix("Example: midspan "))[len(words) :]
    try:
        typed = [*example, option.opts[0], *[text] * option.nargs]
        known = default_map(command, STATED, words)
        value = command.make_context(words[-1], typed, default_map=known).params[option.name]
    except typer.BadParameter:
        return None
    return value[-1] if isinstance(value, (list, tuple)) else value


# Gravity has bounds of its own, and a message that asks for the unit (tests/hand_bench/test_gravity.py).
@pytest.mark.parametrize(("words", "command"), list(leaves(GROUP)), ids=lambda value: str(value)[:30])
def test_what_is_endless_or_no_number_is_never_taken_for_one(words, command):
    for option in [option for option in command.params if option.opts[0].startswith("--") and not option.is_flag]:
        likely = (understood(words, command, option, text) for text in ("0.5", "5.5", "50.5", "500.5"))
        if any(isinstance(value, float) for value in likely) and option.name != "gravity":
            for text in ("inf", "-inf", "nan", "1e300"):
                assert understood(words, command, option, text) is None, (option.name, text)


@pytest.mark.parametrize(("words", "command"), list(leaves(GROUP)), ids=lambda value: str(value)[:30])
def test_every_option_says_what_it_is_for(words, command):
    for parameter in command.params:
        assert getattr(parameter, "help", None) or parameter.name == "help", (words, parameter.name)


@pytest.mark.parametrize(
    "words", [(), *((name,) for name, group in GROUP.commands.items() if hasattr(group, "commands"))]
)
def test_a_list_of_commands_cuts_no_sentence_off(words):
    heading = "Commands:" if words else "Begin here:"  # the commands themselves stand under what they are for
    listed = midspan(*words, "--help").stdout.partition(heading)[2]
    assert len(listed.splitlines()) > 3
    assert "..." not in listed


def test_help_names_every_command_and_loads_nothing_heavy():
    heavy = {"numpy", "scipy", "sqlalchemy", "matplotlib", "fastavro", "serial"}
    script = f"""
import sys
from midspan.cli.main import main
sys.argv = ["midspan", "--help"]
try:
    main()
except SystemExit as end:
    print("loaded:", *{heavy} & {{*sys.modules}}, "exit:", end.code)
"""
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert all(name in done.stdout for name in NAMES)
    assert done.stdout.endswith("loaded: exit: 0\n")


@pytest.mark.parametrize(
    "arguments",
    [
        ["measur"],
        ["show"],
        ["show", "1", "--k", "nan"],
        ["show", "1", "--k", "0.5"],
        ["show", "1", "--k", "many"],
        ["demo", "--shafts", "0"],
        ["demo", "--seed", "x"],
        ["measure", "--port", "rehearsal", "--shaft", "-1", "--calibration", "c", "--bands", "b"],
        ["measure", "--port", "rehearsal", "--shaft", "1" * 20, "--calibration", "c", "--bands", "b"],
        ["measure", "--port", "p", "--shaft", "1", "--calibration", "c", "--bands", "b", "--label", "two\nlines"],
        ["measure", "--port", "p", "--shaft", "1", "--calibration", "c", "--bands", "b", "--label", "\udcff"],
        ["measure", "--port", "p", "--shaft", "1", "--calibration", "c", "--bands", "b", "--label",
         "x" * (LONGEST_LABEL + 1)],
    ],
    ids=lambda arguments: " ".join(arguments)[:40].encode("ascii", "replace").decode(),
)  # fmt: skip
def test_a_command_that_cannot_be_is_told_how_to_be(arguments):
    done = midspan(*arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert "Usage: midspan" in done.stderr
    assert "--help" in done.stderr


def test_the_demonstration_shows_all_four_outcomes_and_says_where_things_are(demonstrated, snapshot):
    folder, done = demonstrated
    assert done.returncode == 0, done.stderr
    for name in ("readings.avro", "results.db", "calibration.toml", "bands.toml"):
        assert str(folder / name) in done.stdout
    # The runtime, its port and its time are those of the machine.
    alike = re.sub(r"(/dev/pts/|rehearsal took )\d+", r"\g<1>0", re.sub("(Micro|C)Python", "Python", done.stdout))
    assert screen(alike, NUMBERS) == snapshot
    assert len(re.findall(r"^measured ", done.stderr, re.MULTILINE)) == 36  # progress, where there is no terminal


def words_of(line):
    """Return the words of a line, and its numbers apart: other processors may round the last digit differently."""
    return re.sub(r"\d+(\.\d+)?", "#", line).split(), [float(word) for word in re.findall(r"\d+(?:\.\d+)?", line)]


def test_the_readme_shows_what_the_demonstration_prints(demonstrated):
    _, done = demonstrated
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = readme[readme.index("    shaft    ") :].partition("\n\n")[0].splitlines()
    assert len(shown) > 4
    printed = [words_of(line) for line in done.stdout.splitlines()]
    for line in shown:
        words, numbers = words_of(line)
        assert any(line == words and other == pytest.approx(numbers, abs=0.02) for line, other in printed), line


def test_the_demonstration_errs_by_what_its_calibration_does(demonstrated):
    # The simulated gauge integrates the elastica on its rims; its owner's calibration has some values and the screw
    # wrong, by amounts the scenario knows. What the sensitivities make of these is all there is, but for the rollers:
    # 5 um at the middle are 0.2 thou in a single reading, of which the turns leave a fourth at most.
    folder, _ = demonstrated
    used, true = load_calibration(folder / "calibration.toml"), mechanics.GAUGE | scenario.GAUGE
    nip = math.cos(math.asin((true["roller_mm"] + true["roller_gap_mm"]) / (true["roller_mm"] + 7.5)))
    light, load_n = 0.1, 0.880 * 9.80665  # Hertz: sinking with the two-thirds power of the force, here its secant
    sinking = true["sink_mm_at_standard"] * (1 - light ** (2 / 3)) / (1 - light) / load_n
    off = {
        "rim radius": used.span.rim_mm - (true["rim_radius_mm"] + 7.5 / 2) * nip,
        "sinking": used.span.sink_mm_per_n - sinking,
        "axial friction": -true["axial_friction_left"] / nip,
        "force scale": used.force.newton_per_count * true["count_per_n"] - 1,
        "travel scale": -true["press_scale_error"],
        "frame give": used.frame.give_mm_per_n - true["frame_mm_per_n"],
        "span": used.span.span_mm - true["span_mm"],
    }
    spines = {shaft["number"]: shaft["spine_thou"] for shaft in scenario.shafts(36, seed=7) if "fault" not in shaft}
    with store_in(folder).open() as store:
        results = {
            stored.run.shaft: stored.result for stored in store.batch(1) if isinstance(stored.result, ShaftResult)
        }
    assert results.keys() == spines.keys()
    for number, result in results.items():
        causes = [name for name, _ in CAUSES]
        by = dict(zip(causes, result.sensitivities, strict=True))
        left = result.spine_thou - spines[number] - sum(by[cause] * error for cause, error in off.items())
        assert abs(left) < by["screw error"] * true["screw_periodic_mm"] + 0.06, number


def test_the_demonstration_leaves_archive_database_and_picture(demonstrated):
    folder, _ = demonstrated
    with (folder / "readings.avro").open("rb") as file:
        runs = list(fastavro.reader(file))
    assert [run["shaft"] for run in runs] == list(range(1, 37))
    with store_in(folder).open() as store:
        verdicts = [stored.decision.outcome for stored in store.batch(1)]
    assert len(verdicts) == 36
    assert set(verdicts) == set(Outcome)
    (picture,) = folder.glob("shaft-*.png")
    assert picture.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert picture.stat().st_size > 20_000
    height, width, _ = imread(picture).shape
    assert (width, height) > (1000, 500)


def test_a_piped_table_is_wide_enough_for_every_quantity(demonstrated):
    _, done = demonstrated
    row = re.search(r"^1 B01 +(\S+ ± \S+) +(\S+ ± \S+) +(\d+ / \d+) +(\S+ ± \S+) +\S+ % +\S", done.stdout, re.MULTILINE)
    assert row, done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 120


def test_a_narrow_screen_keeps_spine_spread_and_verdict(tmp_path):
    done = midspan("demo", "--shafts", 8, "--folder", tmp_path, columns=80)
    assert done.returncode == 0, done.stderr
    table = done.stdout[done.stdout.index("shaft  ") : done.stdout.index("raw readings")]
    assert max(map(len, table.splitlines())) <= 80
    assert "…" not in table  # nothing cut off
    assert len(re.findall(r"^\d \w+ .* \d+\.\d+ ± \d\.\d+ +\d+\.\d+ ± \d\.\d+  \S", table, re.MULTILINE)) == 6
    for words in ("rejected: may be", "rejected: runout", "doubtful: The head", "instrument fault: The"):
        assert words in table


def test_the_demonstration_goes_on_in_its_own_folder_and_no_other(demonstrated, tmp_path):
    folder = tmp_path / "demo"
    for _ in range(2):
        assert midspan("demo", "--shafts", 1, "--folder", folder).returncode == 0
    with store_in(folder).open() as store:
        assert [len(store.batch(batch)) for batch in (1, 2)] == [1, 1]
    before = {path: path.read_bytes() for path in folder.iterdir()}
    assert "calibration.toml" in complaint(midspan("demo", "--shafts", 1, "--folder", folder, "--seed", 8))
    (folder / "calibration.toml").write_text("mine")
    assert "--folder" in complaint(midspan("demo", "--shafts", 1, "--folder", folder))
    before[folder / "calibration.toml"] = b"mine"
    assert {path: path.read_bytes() for path in folder.iterdir()} == before


def test_the_demonstration_mixes_with_no_real_results(tmp_path):
    (tmp_path / "readings.avro").write_bytes(b"years of work")
    assert "readings.avro" in complaint(midspan("demo", "--shafts", 1, "--folder", tmp_path))
    assert [path.name for path in tmp_path.iterdir()] == ["readings.avro"]


def test_recompute_gives_valid_json_and_the_stored_numbers_to_the_bit(demonstrated):
    folder, _ = demonstrated
    done = midspan("recompute", folder / "readings.avro", "--calibration", folder / "calibration.toml", "--json")
    assert done.returncode == 0, done.stderr
    again = json.loads(done.stdout, parse_constant=pytest.fail)
    assert [result["shaft"] for result in again] == list(range(1, 37))
    with store_in(folder).open() as store:
        stored = {stored.run.shaft: plain(stored.result) for stored in store.batch(1)}
    for result in again:
        if "unmeasured" in result:
            assert stored[result["shaft"]] is None
        else:
            assert stored[result["shaft"]].items() <= result.items()


def test_recompute_judges_when_it_has_bands(demonstrated):
    folder, _ = demonstrated
    arguments = ("--calibration", folder / "calibration.toml", "--bands", folder / "bands.toml", "--json")
    rows = json.loads(midspan("recompute", folder / "readings.avro", *arguments).stdout)
    assert {row["outcome"] for row in rows} == {str(outcome) for outcome in Outcome}
    assert all((row["bin"] is not None) == (row["outcome"] == "accepted") for row in rows)


def test_show_tells_a_shaft_and_draws_it(demonstrated, tmp_path):
    folder, _ = demonstrated
    picture = tmp_path / "shaft.svg"
    done = midspan("show", "1", "--store", folder / "results.db", "--picture", picture, "--details")
    assert done.returncode == 0, done.stderr
    for word in ("static spine", "four readings", "stiff side", "runout", "hysteresis"):
        assert word in done.stdout
    assert "<svg" in picture.read_text()
    shown = json.loads(midspan("show", "1", "--store", folder / "results.db", "--json").stdout)
    assert sum(u * u for u in shown["budget"].values()) == pytest.approx(shown["u_spine_thou"] ** 2)


def test_a_shaft_is_measured_on_the_simulated_gauge(demonstrated, tmp_path, store_place):
    folder, _ = demonstrated
    arguments = ("--calibration", folder / "calibration.toml", "--bands", folder / "bands.toml", "--json")
    done = midspan("measure", "--port", "rehearsal", "--shaft", 4, "--label", "[mine]", *arguments, folder=tmp_path)
    assert done.returncode == 0, done.stderr
    measured = json.loads(done.stdout)
    assert (measured["shaft"], measured["label"]) == (4, "[mine]")
    shown = midspan("show", "[mine]", "--store", store_place)
    assert "[mine]" in shown.stdout


def test_brackets_in_a_label_are_no_markup(demonstrated, tmp_path):
    folder, _ = demonstrated
    arguments = ("--calibration", folder / "calibration.toml", "--bands", folder / "bands.toml")
    label = "[/b] $\\frac$ :x:"
    done = midspan("measure", "--port", "rehearsal", "--shaft", 1, "--label", label, *arguments, folder=tmp_path)
    assert f"1 {label}\n" in re.sub(" +\n", "\n", done.stdout)
    done = midspan("show", label, "--picture", "a.png", folder=tmp_path)
    assert (done.returncode, (tmp_path / "a.png").exists()) == (0, True)
    done = midspan("recompute", "readings.avro", *arguments, folder=tmp_path)
    assert f"\n1 {label} " in done.stdout


def test_show_finds_the_newest_by_number_or_label(demonstrated, tmp_path):
    folder, _ = demonstrated
    arguments = ("--calibration", folder / "calibration.toml", "--bands", folder / "bands.toml", "--json")
    for shaft, label in ((1, "a"), (3, "b"), (1, "c")):
        midspan("measure", "--port", "rehearsal", "--shaft", shaft, "--label", label, *arguments, folder=tmp_path)
    for asked, label in (("1", "c"), ("a", "c"), ("3", "b")):  # an old label leads to its shaft, under its newest
        assert json.loads(midspan("show", asked, "--json", folder=tmp_path).stdout)["label"] == label


def test_show_of_a_shaft_without_result(demonstrated, tmp_path):
    folder, _ = demonstrated
    store = ("--store", folder / "results.db")
    assert "doubtful: The head went down" in midspan("show", "R6 empty slot", *store).stdout
    shown = json.loads(midspan("show", "R6 empty slot", "--json", *store).stdout)
    assert (shown["outcome"], shown["bin"]) == ("doubtful", None)
    assert shown["unmeasured"] == shown["reasons"]
    refused = refusal(midspan("show", "27", "--picture", tmp_path / "a.png", *store), OutputError)
    assert "shaft 27" in str(refused)
    assert not (tmp_path / "a.png").exists()


def process_of(*arguments, **options):
    """Start a command in its own process, where signals, pipes and full disks are real and output is buffered."""
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
    command = [*COMMAND, *map(str, arguments)]
    return subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=environment, **options)


def much_and_little(folder):
    """Yield commands that fill their output buffer before they end, and one that does not."""
    calibration = ("--calibration", folder / "calibration.toml")
    yield "recompute", folder / "readings.avro", *calibration, "--json"
    yield "recompute", folder / "readings.avro", *calibration
    yield "ports", "--json"


def test_an_output_that_closes_early_is_no_crash(demonstrated):
    folder, _ = demonstrated
    for arguments in much_and_little(folder):
        read_end, write_end = os.pipe()
        os.close(read_end)
        process = process_of(*arguments, stdout=write_end)
        os.close(write_end)
        assert process.communicate() == (None, "")
        assert process.returncode == 1


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no /dev/full on this system")  # noqa: PTH110
def test_an_output_on_a_full_disk_is_told(demonstrated):
    folder, _ = demonstrated
    for arguments in much_and_little(folder):
        with open("/dev/full", "w") as full:  # noqa: PTH123
            process = process_of(*arguments, stdout=full)
            _, err = process.communicate()
        assert (process.returncode, err.startswith("midspan: "), err.count("\n")) == (1, True, 1), err
        assert os.strerror(errno.ENOSPC) in err


def test_ctrl_c_ends_the_demonstration_in_one_line_and_keeps_what_was_measured(tmp_path, store_place):
    # The whole group gets the signal, as on a terminal: the simulated gauge must live to be stopped.
    process = process_of(
        "demo", "--shafts", 300, "--folder", tmp_path, stdout=subprocess.DEVNULL, start_new_session=True
    )
    while "3 of 300" not in process.stderr.readline():
        pass
    os.killpg(process.pid, signal.SIGINT)
    _, err = process.communicate()
    assert process.returncode == 130
    assert err.splitlines()[-1].startswith("midspan: ")
    assert "Traceback" not in err
    with store_place.open() as store:
        stored = [kept.run.shaft for kept in store.batch(1)]
    assert stored[:3] == [1, 2, 3]
    with (tmp_path / "readings.avro").open("rb") as file:
        assert [run["shaft"] for run in fastavro.reader(file)] == stored


def test_ctrl_c_in_mid_shaft_lifts_the_head_and_keeps_the_readings(tmp_path, monkeypatch):
    calibration, bands = settings(tmp_path)

    monkeypatch.setattr(bench, "Bench", partial(bench.Bench, on_event=interrupting()))
    given = ("--calibration", calibration, "--bands", bands)
    done = midspan("measure", "--port", "rehearsal", "--shaft", 1, *given, folder=tmp_path)
    assert done.returncode == 130
    assert done.stderr.startswith("midspan: ")
    assert done.stderr.count("\n") == 1
    with (tmp_path / "readings.avro").open("rb") as file:
        (run,) = fastavro.reader(file)
    assert (run["shaft"], run["complete"], run["cause"]) == (1, False, "STOPPED_BY_HOST")
    assert len(run["counts"]) > 100
    shown = json.loads(midspan("show", 1, "--json", folder=tmp_path).stdout)
    assert shown["outcome"] == "doubtful"


def interrupting():
    """Return a watcher that presses Ctrl-C once, at the second block of readings under full load."""
    blocks = []

    def on_event(outcome):
        if isinstance(outcome, BlockCame) and outcome.block.phase == Phase.FULL:
            blocks.append(outcome)
            if len(blocks) == 2:
                raise KeyboardInterrupt

    return on_event


def test_ports_answers_in_words_and_in_json():
    assert midspan("ports").stdout.strip()
    assert isinstance(json.loads(midspan("ports", "--json").stdout), list)


def test_the_demonstration_takes_a_calibration_of_ones_own(demonstrated, tmp_path):
    folder, _ = demonstrated
    text = (folder / "calibration.toml").read_text().replace("span_mm = 711.20", "span_mm = 711.90")
    (tmp_path / "own.toml").write_text(text.replace('id = "', 'id = "own-'))
    own = midspan("demo", "--shafts", 2, "--folder", tmp_path / "out", "--calibration", tmp_path / "own.toml")
    assert own.returncode == 0, own.stderr
    arguments = ("--store", tmp_path / "out" / "results.db", "--json")
    mine = json.loads(midspan("show", 2, *arguments).stdout)
    assert mine["calibration"].startswith("own-")
