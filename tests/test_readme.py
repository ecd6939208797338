"""The README on calibrating, runs and sets, done as it says: commands in order, tables by heading."""

import json
import re
import shlex
import tomllib

import pytest
from commands_rig import midspan, settings
from midspan.calibrate.readings_table import LAYOUTS
from midspan.hand_bench.masses import load_masses
from midspan.measurement.cycle_settings import STANDARD, chosen_cycle
from midspan.rehearsal import scenario
from places import ROOT
from sort_rig import check_ledger

pytestmark = pytest.mark.process

README = (ROOT / "README.md").read_text(encoding="utf-8")
SECTION = README.partition("### From nothing to a number you can defend")[2].partition("\n### ")[0]
COMMANDS = [shlex.split(line)[1:] for line in re.findall(r"^    (midspan .*)$", SECTION, re.MULTILINE)]


@pytest.fixture(scope="module")
def walked(tmp_path_factory):
    """Return the folder of a newcomer who did what the section says, and what each command printed."""
    folder = tmp_path_factory.mktemp("newcomer")
    printed = []
    for words in COMMANDS:
        if words[0] == "risk":  # names the reader's own bands
            words = [word.replace("bands.toml", "mine/bands.toml") for word in words]
        done = midspan(*words, folder=folder)
        assert done.returncode == 0, (words, done.stderr)
        printed.append((words, done.stdout))
    return folder, printed


def test_a_newcomer_gets_from_nothing_to_a_budget_and_a_comparison(walked):
    _, printed = walked
    (budget,) = [text for words, text in printed if "--budget" in words]
    assert "U covers 95 %" in budget
    (compared,) = [text for words, text in printed if words[:2] == ["calibrate", "changes"]]
    assert re.search(r"^34 shafts", compared, re.MULTILINE)
    assert "force.u_scale: 0.0005" in compared
    (said,) = (line for line in compared.splitlines() if line.startswith("the ± of a spine was"))
    before, now = (float(number) for number in re.findall(r"\d+\.\d+", said))
    assert (0.5 <= before < 0.7, 0.25 <= now < 0.4) == (True, True), said


@pytest.mark.slow
def test_most_of_the_first_budget_are_the_masses(walked):
    folder, _ = walked
    told = json.loads(midspan("show", 3, "--store", "mine/results.db", "--budget", "--json", folder=folder).stdout)
    assert told["agrees"]  # the trials and the budget
    shares = {part["cause"]: part["portion"] for part in told["causes"]}
    assert shares["force scale"] < 0.3  # now; the section says what it was before
    (first,) = [text for words, text in walked[1] if "--budget" in words]
    assert int(re.search(r"force scale .* (\d+)% ", first)[1]) > 60


def test_the_headings_are_those_of_the_tables():
    rows = dict(re.findall(r"^\| `(\w+)` \| (`.*) \|$", SECTION, re.MULTILINE))
    assert set(rows) == {"force", "travel", "frame", "span", "sinking", "rotation", "filter", "bar"}
    other = {"travel": "blocks", "rotation": "marks"}
    for kind, told in rows.items():
        wanted = [kind, *([other[kind]] if kind in other else [])]
        headings = [",".join(column.name for column in LAYOUTS[layout]) for layout in wanted]
        assert re.findall(r"`([\w,]+)`", told) == headings, kind
    assert set(LAYOUTS) == {*rows, *other.values()}


def test_the_example_of_masses_is_one(tmp_path):
    (text,) = re.findall(r"^    \[\[mass\]\]\n(?:    .*\n)+", SECTION, re.MULTILINE)
    lines = "\n".join(line.removeprefix("    ") for line in text.splitlines())
    (tmp_path / "masses.toml").write_text(lines)
    (mass,) = load_masses(tmp_path / "masses.toml").values()
    assert mass.mass_g == tomllib.loads(lines)["mass"][0]["mass_g"] == 500.0


def test_the_example_of_a_cycle_is_one_and_its_command_shows_it(tmp_path):
    section = README.partition("### How long a shaft takes")[2].partition("\n### ")[0]
    (text,) = re.findall(r"^    \[cycle\]\n(?:    .*\n)+", section, re.MULTILINE)
    (tmp_path / "mine.toml").write_text("\n".join(line.removeprefix("    ") for line in text.splitlines()))
    given = tomllib.loads((tmp_path / "mine.toml").read_text())["cycle"]
    chosen = chosen_cycle(str(tmp_path / "mine.toml"))
    assert {key: getattr(chosen, key) for key in given} == given
    assert all(given[key] != getattr(STANDARD, key) for key in given)
    (words,) = commands("How long a shaft takes")
    settings(tmp_path)
    for cycle in ("deep", "mine.toml"):
        done = midspan(*[cycle if word == "deep" else word for word in words], folder=tmp_path)
        assert done.returncode == 0, done.stderr


def commands(heading):
    """Return the indented commands of a section."""
    section = README.partition(f"### {heading}\n")[2].partition("\n### ")[0]
    return [shlex.split(line)[1:] for line in re.findall(r"^    (midspan .*)$", section, re.MULTILINE)]


@pytest.fixture(scope="module")
def evening(tmp_path_factory):
    """Return the folder after the demonstration and its run, and how the run ended."""
    folder = tmp_path_factory.mktemp("evening")
    assert midspan("demo", "--folder", folder, folder=folder).returncode == 0
    return folder, midspan("sort", "night.toml", folder=folder, columns=100)


def test_the_night_is_as_it_is_shown(evening):
    folder, done = evening
    section = README.partition("### Alone through the night")[2].partition("\n### ")[0]
    shown = [line[4:] for line in section.splitlines() if line.startswith("    ") and "midspan" not in line]
    assert len(shown) == 14
    assert done.returncode == 0, done.stderr
    printed = [line.rstrip() for line in (done.stderr + done.stdout).splitlines()]
    assert [line for line in shown if line not in printed] == []
    check_ledger(folder, 35)


def truth_of(folder, number):
    """Return which shaft of the simulated stock a number is: the nearest in spine, spread and runout."""
    told = json.loads(midspan("show", number, "--json", folder=folder).stdout)
    return min(
        scenario.shafts(36, 7),
        key=lambda true: (
            abs(true.get("spine_thou", 0) - told["spine_thou"])
            + abs(true.get("spread_thou", 0) - told["spread_thou"])
            + 10 * abs(2 * true.get("bow_mm", 0) - told["runout_mm"])
        ),
    )["number"]


def test_without_a_batch_no_shaft_of_the_club_is_counted_twice(evening):
    folder, _ = evening
    making = ("sets", "make", "--number", 6, "--spine", 2, "--spread", 4)
    told = json.loads(midspan(*making, "--json", folder=folder).stdout)
    numbers = [shaft["shaft"] for each in told["sets"] for shaft in each["shafts"]]
    assert len(numbers) >= 18
    assert len({truth_of(folder, number) for number in numbers}) == len(numbers)
    pairs = {tuple(truth_of(folder, number) for number in pair) for pair in told["likely_twins"]}
    assert len(pairs) == len(told["likely_twins"]) > 25
    assert all(first == other for first, other in pairs)
    warned = " ".join(midspan(*making, folder=folder).stdout.split())
    (said,) = re.findall(r"^    (26 shafts .*)\n    (.*)$", README, re.MULTILINE)
    assert " ".join(said) in warned


def test_a_newcomer_makes_sets_card_and_labels_of_the_demonstrations_night(evening):
    folder, _ = evening
    _, make, card, labels, flags = commands("Matched sets")
    made = midspan(*make, folder=folder)
    assert "4 sets" in made.stdout, made.stderr
    assert midspan(*card, folder=folder).stdout.split() == ["card-spring-1.html", "card-spring-1.pdf"]
    assert re.findall(r"\b\d+\b", midspan(*labels, folder=folder).stdout) == ["6", "1"]
    assert re.findall(r"\b\d+\b", midspan(*flags, folder=folder).stdout) == ["6", "6"]  # a roll: a page each
    refilled = midspan("sets", "refill", "spring 1", "--lost", "73", "--keep", folder=folder)
    assert refilled.returncode == 0, refilled.stderr
    extended = midspan("sets", "extend", "spring 1", "--number", "2", "--json", folder=folder)
    assert extended.returncode == 0, extended.stderr
    kept = {
        number
        for kept_set in json.loads(midspan("sets", "show", "--json", folder=folder).stdout)
        for number in kept_set["shafts"]
    }
    joining = {shaft["shaft"] for shaft in json.loads(extended.stdout)["second"]["shafts"]}
    assert {truth_of(folder, number) for number in joining}.isdisjoint(truth_of(folder, number) for number in kept)
    assert midspan("export", "sets", "--out", "sets.csv", folder=folder).stdout.startswith("sets.csv: 25 ")


def test_a_newcomer_makes_a_backup_and_brings_it_back(evening):
    folder, _ = evening
    make, bring_back = commands("Copy, move, back up")
    for words in (make, bring_back):
        done = midspan(*words, folder=folder)
        assert done.returncode == 0, done.stderr
    moved = folder.parent / "elsewhere"
    assert midspan("report", "--out", "night.html", folder=moved).returncode == 0
    assert {path.name for path in folder.glob("*.toml")} == {path.name for path in moved.glob("*.toml")}
