"""`midspan init`, `midspan status`, and commands that need no path in a workspace."""

import json
import shutil
import tomllib
from pathlib import Path
from unittest import mock

import pytest
import typer
from commands_rig import midspan, refusal, settings
from midspan.base.errors import BackupError, ConfigurationError, StoreError
from midspan.base.shown_units import ShownUnits, shown_units
from midspan.calibrate.order import ORDER
from midspan.cli.main import app
from midspan.cli.workspace_options import APART, default_map
from midspan.decision.decision import Decision, Outcome
from midspan.store.revisions import NEWEST
from midspan.wire.records import PROTOCOL_MAJOR, PROTOCOL_MINOR
from results import told
from stores import add_result, run_of, store_in

pytestmark = pytest.mark.process
OLD = Path(__file__).parents[1] / "data" / "e0bd664" / "results.db"


@pytest.fixture(autouse=True)
def fresh_log(tmp_path_factory, monkeypatch):
    """Let each test have a log of its own, outside its folder."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path_factory.mktemp("state")))


def state(folder):
    """Return what `midspan status --json` says in a folder; its exit code must agree with it."""
    done = midspan("status", "--json", folder=folder)
    said = json.loads(done.stdout)
    assert done.returncode == (0 if said["ready"] else 1)
    return said


def typed(*lines):
    """Let a person type lines at the prompts of `init`."""
    return mock.patch("midspan.cli.screen.ask", mock.Mock(side_effect=lines))


def test_an_empty_folder_is_sent_to_init(tmp_path):
    said = state(tmp_path)
    assert (said["workspace"], said["next"]) == (None, "midspan init")


def test_status_tells_the_versions_of_program_protocol_and_database(tmp_path):
    known = state(tmp_path)["versions"]
    assert (known["protocol"], known["database"]) == (f"{PROTOCOL_MAJOR}.{PROTOCOL_MINOR}", str(NEWEST))
    version = midspan("--version").stdout
    assert all(value in version for value in known.values())


def test_init_with_defaults_is_the_simulated_gauge_and_nothing_is_asked(tmp_path):
    done = midspan("init", "--yes", folder=tmp_path)
    assert done.returncode == 0
    made = tomllib.loads((tmp_path / "midspan.toml").read_text(encoding="utf-8"))
    assert made["gauge"]["port"] == "rehearsal"
    assert made["shown"] == {"across": "thou", "weight": "grains", "wood": "thou"}
    assert done.stdout.splitlines()[-1] == "Next: midspan calibrate force"


@pytest.mark.parametrize(
    ("lines", "stated"),
    [
        (["", "m", "g", "b", "Alder", "Ann", "500 510", "10"],
         {"port": "rehearsal", "shown": {"across": "mm", "weight": "grams", "wood": "both"}, "shop": "Alder"}),
        (["g", "usb:4711", "", "", "", "", "", "500", "", ""],
         {"port": "usb:4711", "shown": {"across": "thou", "weight": "grains", "wood": "thou"}, "shop": ""}),
        (["h", "", "", "p", "", "", "340 400", "", ""],
         {"port": None, "shown": {"across": "thou", "weight": "grains", "wood": "pounds"}, "shop": ""}),
        (["simulated", "MM", "grains", "yes", "", "", "500", "10"],
         {"port": "rehearsal", "shown": {"across": "mm", "weight": "grains", "wood": "both"}, "shop": ""}),
    ],
)  # fmt: skip
def test_each_answer_stands_in_the_file(tmp_path, lines, stated):
    with typed(*lines):
        assert midspan("init", folder=tmp_path).returncode == 0
    made = tomllib.loads((tmp_path / "midspan.toml").read_text(encoding="utf-8"))
    assert {"port": made["gauge"].get("port"), "shown": made["shown"], "shop": made["shop"]["name"]} == stated
    assert made["gauge"].get("by_hand", False) == (stated["port"] is None)


def test_answers_that_end_early_write_nothing(tmp_path):
    done = midspan("init", folder=tmp_path, typed=["simulated", "mm"])
    assert refusal(done, ConfigurationError).code == "unanswered"
    assert not [*tmp_path.iterdir()]


def test_words_that_toml_would_stumble_over_are_kept(tmp_path):
    with typed("", "", "", "", 'Ann\'s "Old" \\ Shop', "", "500", "10"):
        assert midspan("init", folder=tmp_path).returncode == 0
    made = tomllib.loads((tmp_path / "midspan.toml").read_text(encoding="utf-8"))
    assert made["shop"]["name"] == 'Ann\'s "Old" \\ Shop'


def test_a_wrong_answer_is_asked_again(tmp_path):
    with typed("x", "", "", "", "", "", "", "five", "500 505", "8", "5"):
        done = midspan("init", folder=tmp_path)
    assert done.returncode == 0
    bins = tomllib.loads((tmp_path / "bands.toml").read_text(encoding="utf-8"))["bin"]
    assert [each["spine_thou"] for each in bins] == [[497.5, 502.5], [502.5, 507.5]]


def test_masses_at_hand_begin_their_file(tmp_path):
    with typed("g", "PORT", "", "", "", "", "", "500", "10", "200 500 1000", "0.1"):
        assert midspan("init", folder=tmp_path).returncode == 0
    masses = tomllib.loads((tmp_path / "masses.toml").read_text(encoding="utf-8"))["mass"]
    assert [(each["mass_g"], each["u_mass_g"]) for each in masses] == [(200.0, 0.2), (500.0, 0.5), (1000.0, 1.0)]


def test_init_overwrites_nothing(tmp_path):
    (tmp_path / "bands.toml").write_text("mine")
    assert midspan("init", "--yes", folder=tmp_path).returncode == 0
    assert (tmp_path / "bands.toml").read_text() == "mine"
    before = (tmp_path / "midspan.toml").read_bytes()
    again = midspan("init", "--yes", folder=tmp_path)
    assert (again.returncode, again.error.code) == (1, "workspace_exists")
    assert (tmp_path / "midspan.toml").read_bytes() == before


def test_a_check_standard_is_added_and_all_else_stays(tmp_path):
    midspan("init", "--yes", folder=tmp_path)
    before = (tmp_path / "midspan.toml").read_text(encoding="utf-8")
    with typed("bar-1", "501.2", "0.294", "", "21"):
        assert midspan("init", "--standard", folder=tmp_path).returncode == 0
    after = (tmp_path / "midspan.toml").read_text(encoding="utf-8")
    assert after.startswith(before)
    (standard,) = tomllib.loads(after)["standard"]
    assert standard["u_assigned_thou"] == pytest.approx(0.15)  # of a 95 % range of 0.294: JCGM 100:2008, table G.1
    assert (standard["name"], standard["assigned_thou"], standard["material"]) == ("bar-1", 501.2, "steel")
    with typed("bar-1", "501.2", "0.294", "", "21"):
        assert midspan("init", "--standard", folder=tmp_path).returncode == 1  # a name stands once
    assert (tmp_path / "midspan.toml").read_text(encoding="utf-8") == after


@pytest.mark.parametrize("lines", [("", ""), ("bar-1", "501.2", "")])
def test_without_a_bar_of_known_spine_enter_leaves_it_out(tmp_path, lines):
    midspan("init", "--yes", folder=tmp_path)
    before = (tmp_path / "midspan.toml").read_bytes()
    with typed(*lines):
        assert midspan("init", "--standard", folder=tmp_path).returncode == 0
    assert (tmp_path / "midspan.toml").read_bytes() == before


def test_without_a_workspace_there_is_nothing_to_add_to(tmp_path):
    assert midspan("init", "--bands", folder=tmp_path).error.code == "no_workspace"


def test_status_names_every_part_of_the_calibration_in_order(tmp_path):
    midspan("init", "--yes", folder=tmp_path)
    said = state(tmp_path)
    missing = [item["id"] for item in said["items"] if item["state"] == "missing"]
    assert missing == [f"calibrate {part}" for part in (*ORDER, "file")]
    assert said["next"] == f"midspan calibrate {ORDER[0]}"


def test_bands_that_are_gone_are_begun_again(tmp_path):
    _, bands = settings(tmp_path)
    midspan("init", "--yes", folder=tmp_path)
    bands.unlink()
    said = state(tmp_path)
    assert said["next"] == "midspan init --bands"
    assert midspan("init", "--bands", "--yes", folder=tmp_path).returncode == 0
    assert state(tmp_path)["next"] == "midspan measure"


def test_with_calibration_and_bands_a_workspace_is_ready(tmp_path):
    settings(tmp_path)
    midspan("init", "--yes", folder=tmp_path)
    said = state(tmp_path)
    assert (said["ready"], said["next"]) == (True, "midspan measure")
    assert not [item for item in said["items"] if item["state"] == "advised"]


def test_a_dozen_accepted_shafts_can_be_matched(tmp_path):
    settings(tmp_path)
    midspan("init", "--yes", folder=tmp_path)
    result = told(spine_thou=500.0, u_spine_thou=0.2, spread_thou=2.0, runout_mm=0.1)
    with store_in(tmp_path).open() as store:
        for shaft in range(1, 12):
            add_result(store, run_of(shaft), result)
        add_result(store, run_of(40), result, Decision(Outcome.REJECTED, ("bent",)))
    assert (state(tmp_path)["next"], state(tmp_path)["also"]) == ("midspan measure", "")
    with store_in(tmp_path).open() as store:
        add_result(store, run_of(12), result)
    assert (state(tmp_path)["next"], state(tmp_path)["also"]) == ("midspan measure", "midspan sets make")
    assert "check standard" in {item["id"] for item in state(tmp_path)["items"] if item["state"] == "advised"}
    assert midspan("status", folder=tmp_path).stdout.splitlines()[-1] == "Next: midspan measure, or midspan sets make"


def test_an_expired_calibration_is_named(tmp_path):
    calibration, _ = settings(tmp_path)
    midspan("init", "--yes", folder=tmp_path)
    text = calibration.read_text(encoding="utf-8")
    made = [line for line in text.splitlines() if not line.startswith(("made ", "valid_until "))]
    at = made.index("[calibration]") + 1
    made[at:at] = ["made = 2020-01-01", "valid_until = 2021-01-01"]
    calibration.write_text("\n".join(made) + "\n", encoding="utf-8")
    said = state(tmp_path)
    assert not said["ready"]
    assert said["next"] == "midspan calibrate force"
    assert said["items"][-4]["state"] == "expired"


def test_a_damaged_file_is_an_item_and_no_error(tmp_path):
    calibration, bands = settings(tmp_path)
    midspan("init", "--yes", folder=tmp_path)
    calibration.write_text("[calibration\n")
    bands.write_text("")
    (tmp_path / "results.db").write_text("no database")
    said = state(tmp_path)
    assert {item["id"] for item in said["items"] if item["state"] == "wrong"} == {"calibration", "bands"}
    assert said["next"] == ""
    assert "results.db" in said["database"]


def test_a_misspelt_key_stops_commands_but_not_those_that_help(tmp_path):
    (tmp_path / "midspan.toml").write_text('[shown]\nacros = "mm"\n')
    refused = midspan("show", "3", folder=tmp_path)
    assert (refused.returncode, refused.stderr.count("\n")) == (1, 1)
    assert isinstance(refused.error, ConfigurationError)
    said = state(tmp_path)
    assert [(item["id"], item["state"]) for item in said["items"]] == [("workspace", "wrong")]
    assert "across" in said["items"][0]["words"]
    assert midspan("show", "--help", folder=tmp_path).returncode == 0
    assert midspan("calibrate", "force", "--help", folder=tmp_path).returncode == 0
    assert midspan("diagnose", "--out", "pack.zip", folder=tmp_path).returncode == 0
    assert midspan("--no-workspace", "hand", "budget", folder=tmp_path).returncode == 1  # for want of a bench


def test_a_workspace_is_used_from_a_folder_below_and_options_win(tmp_path):
    settings(tmp_path)
    midspan("init", "--yes", folder=tmp_path)
    below = tmp_path / "stock" / "spring"
    below.mkdir(parents=True)
    assert midspan("cycle", folder=below).returncode == 0
    other = tmp_path / "other.toml"
    assert midspan("cycle", "--calibration", other, folder=below).error.args[0].startswith(str(other))
    shutil.move(tmp_path / "midspan.toml", tmp_path / "shop.toml")
    assert refusal(midspan("cycle", folder=below), ConfigurationError).code == "no_workspace"
    assert midspan("--workspace", "../../shop.toml", "cycle", folder=below).returncode == 0


def test_a_file_of_the_workspace_that_is_not_there_yet_points_to_status(tmp_path):
    midspan("init", "--yes", folder=tmp_path)
    assert "midspan status" in midspan("cycle", folder=tmp_path).stderr
    assert "midspan status" not in midspan("cycle", "--calibration", "other.toml", folder=tmp_path).stderr


@pytest.mark.parametrize(
    "words",
    ["show 3", "shafts find", "sets stock", "plot around 3", "measure", "park 3", "sort", "cycle", "hand budget",
     "calibrate force", "measure --port rehearsal"],
)  # fmt: skip
def test_outside_a_workspace_a_command_says_so(tmp_path, words):
    assert refusal(midspan(*words.split(), folder=tmp_path), ConfigurationError).code == "no_workspace"


def test_outside_a_workspace_what_is_named_is_used(tmp_path):
    calibration, bands = settings(tmp_path)
    asked = ("--port", "rehearsal", "--calibration", calibration, "--bands", bands)
    assert refusal(midspan("show", 3, "--store", "other.db", folder=tmp_path), StoreError).code == "missing"
    assert midspan("measure", "--shaft", 3, *asked, folder=tmp_path).returncode == 0
    assert midspan("show", 3, folder=tmp_path).returncode == 0
    assert midspan("shafts", "vouch", 3, folder=tmp_path).returncode == 2  # no workspace states who looked at it
    assert midspan("measure", "--shaft", "three", *asked, folder=tmp_path).returncode == 2


def test_no_help_says_default_and_required_of_one_parameter(tmp_path):
    midspan("init", "--yes", folder=tmp_path)
    for words in (("park",), ("measure",), ("shafts", "show"), ("cycle",)):
        for line in midspan(*words, "--help", folder=tmp_path, columns=400).stdout.splitlines():
            assert not ("required" in line and "default" in line)
    assert midspan("--no-workspace", "park", "--help", folder=tmp_path).stdout.count("required") == 4


def test_the_units_of_a_workspace_are_those_of_its_commands_alone(tmp_path):
    (tmp_path / "midspan.toml").write_text('[shown]\nacross = "mm"\n')
    seen = []
    looking = mock.patch("midspan.cli.status.status_of", side_effect=lambda *_: seen.append(shown_units()) or 1 / 0)
    with looking, pytest.raises(ZeroDivisionError):
        midspan("status", folder=tmp_path)
    assert seen[0].across.value == "mm"
    assert shown_units() == ShownUnits()


# A backup must not land on what is there, and a list comes from outside.
NEEDS_A_PLACE = {"restore": {"into"}, "shafts import": {"file"}}


def names_a_place(parameter):
    """Tell if a parameter is a path, a database or a port."""
    return parameter.name in ("port", "store") or "Path" in str(parameter.type_descriptor.annotation)


def test_no_command_needs_a_path_in_a_workspace():
    stated = dict.fromkeys(
        ("port", "calibration", "bands", "store", "archive", "records", "masses", "bench", "record", "plan", "sizes"),
        "x",
    )
    command = typer.main.get_command(app)
    lacking = {}

    def walk(below, known, path):
        for name, inner in getattr(below, "commands", {}).items():
            walk(inner, known[name], (*path, name))
        if not hasattr(below, "commands"):
            needed = [each for each in below.params if each.required and each.name not in known]
            lacking[" ".join(path)] = {each.name for each in needed if names_a_place(each)}

    walk(command, default_map(command, stated), ())

    assert {name: needed for name, needed in lacking.items() if needed} == NEEDS_A_PLACE


def test_options_that_are_set_apart_exist():
    command = typer.main.get_command(app)
    for path, names in APART.items():
        below = command
        for name in path:
            below = below.commands[name]
        assert names <= {parameter.name for parameter in below.params}, path


def test_a_backup_goes_into_the_folder_of_the_workspace_with_its_file(tmp_path):
    settings(tmp_path)
    midspan("init", "--yes", folder=tmp_path)
    shutil.copy(OLD, tmp_path / "results.db")
    assert "backup" in {item["id"] for item in state(tmp_path)["items"] if item["state"] == "advised"}
    done = midspan("backup", folder=tmp_path)
    (copy,) = (tmp_path / "backups").iterdir()
    assert (copy / "midspan.toml").read_bytes() == (tmp_path / "midspan.toml").read_bytes()
    assert done.returncode == 1  # this database's archives are elsewhere, and it says so
    assert state(tmp_path)["items"][-1]["state"] == "set"
    brought = midspan("restore", "--into", tmp_path / "new", folder=tmp_path)
    assert (tmp_path / "new" / "midspan.toml").exists(), brought.stderr


def test_without_a_workspace_a_backup_needs_its_folder(tmp_path):
    shutil.copy(OLD, tmp_path / "results.db")
    assert isinstance(midspan("backup", folder=tmp_path).error, BackupError)
    assert isinstance(midspan("restore", "--into", "new", folder=tmp_path).error, BackupError)


def test_status_says_what_an_upgrade_of_the_database_would_do_and_does_not_do_it(tmp_path):
    midspan("init", "--yes", folder=tmp_path)
    shutil.copy(OLD, tmp_path / "results.db")
    assert (
        f"version 5; the next command that writes copies it beside itself and brings it to {NEWEST}"
        in state(tmp_path)["database"]
    )
    assert (tmp_path / "results.db").read_bytes() == OLD.read_bytes()


@pytest.mark.slow
def test_who_follows_status_alone_comes_from_an_empty_folder_to_a_calibrated_gauge(tmp_path):
    followed = []
    while (following := state(tmp_path)["next"]) != "midspan measure":
        followed.append(following)
        assert len(followed) < 20
        done = midspan(*following.split()[1:], "--yes" if "file" not in following else "--", folder=tmp_path)
        assert done.returncode == 0, (following, done.stderr)
    assert followed == ["midspan init", *(f"midspan calibrate {part}" for part in (*ORDER, "file"))]
    assert midspan("measure", "--shaft", 1, folder=tmp_path).returncode == 0
    assert state(tmp_path)["items"][-1]["command"] == "midspan backup"
    assert midspan("backup", folder=tmp_path).returncode == 0
    assert state(tmp_path)["items"][-1]["state"] == "set"


def test_a_workspace_within_another_is_asked_for_its_own_gauge(tmp_path):
    midspan("init", "--yes", folder=tmp_path)
    (tmp_path / "bench").mkdir()
    with typed("h", "", "", "", "", "", "500", "10"):
        assert midspan("init", folder=tmp_path / "bench").returncode == 0
    assert state(tmp_path / "bench")["next"] == "midspan hand measure"
    assert state(tmp_path)["next"] == "midspan calibrate force"
