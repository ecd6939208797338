"""A maker's afternoon by commands alone: a folder, a calibration, 24 shafts by hand, a dozen that is sent, a backup."""

import json
import re

import pytest
from commands_rig import midspan, refusal
from midspan.base.errors import MidspanError, StoreError

pytestmark = [pytest.mark.process, pytest.mark.slow]
SHAFTS = 24


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """Return a folder that was set up and calibrated on the simulated gauge, with nothing typed but Enter."""
    folder = tmp_path_factory.mktemp("shop")
    assert next_of(folder) == "midspan init"
    done(folder, "init", typed=[""] * 20)
    assert next_of(folder).startswith("midspan calibrate force")
    done(folder, "calibrate", "all", typed=[""] * 200)
    assert next_of(folder) == "midspan measure"
    return folder


@pytest.fixture(scope="module")
def measured(shop):
    """Return the folder with 24 measured shafts, each labelled and weighed: shaft 5 repeated, shaft 6 void, 7 noted."""
    typed = []
    for shaft in range(1, SHAFTS + 1):
        typed += [f"B{shaft:02}", "", "w", f"{310 + shaft / 4:.2f}"]
        typed += {5: ["r"], 6: ["v", "the wrong shaft"], 7: ["n", "nock end scratched"]}.get(shaft, [])
    told = done(shop, "measure", typed=[*typed, "q"])
    assert re.search(rf"^{SHAFTS} shafts: ", told.stdout + told.stderr, re.MULTILINE)
    return shop


def done(folder, *words, typed=None):
    """Return a command that succeeded."""
    finished = midspan(*words, folder=folder, typed=typed)
    assert finished.returncode == 0, finished.stderr
    return finished


def next_of(folder):
    """Return the one command that the status names."""
    return re.search(r"^Next: (.*)$", midspan("status", folder=folder).stdout, re.MULTILINE)[1]


def listed(folder, *words):
    return json.loads(done(folder, "shafts", "find", *words, "--json").stdout)


def test_each_shaft_is_there_once_with_label_and_weight(measured):
    found = {row["shaft"]: row for row in listed(measured)}
    assert [row["label"] for row in found.values()] == [f"B{shaft:02}" for shaft in range(1, SHAFTS + 1)]
    counting = {shaft: row["weight_gr"] for shaft, row in found.items() if shaft != 6}
    assert counting == pytest.approx({shaft: 310 + shaft / 4 for shaft in counting}, abs=0.01)
    assert [row["shaft"] for row in listed(measured, "scratched")] == [7]
    assert [row["shaft"] for row in listed(measured, "--voided")] == [6]


def test_a_dozen_is_chosen_sent_and_kept_from_harm(measured):
    chosen = json.loads(done(measured, "sets", "make", "--spine", "12", "--keep", "ann", "--json").stdout)
    assert chosen
    (name,) = {row["set"] for row in json.loads(done(measured, "sets", "list", "--json").stdout)}
    done(measured, "sets", "card", name)
    done(measured, "shafts", "labels", "--set", name)
    done(measured, "sets", "ship", name, "--on", "2026-12-01", "--customer", "Ann", "--order", "14")
    member = done(measured, "sets", "list", "--json").stdout
    shaft = str(json.loads(member)[0]["shafts"][0])
    refused = refusal(midspan("shafts", "void", shaft, "--why", "mistake", folder=measured), MidspanError)
    assert name in str(refused)
    refusal(midspan("sets", "apart", name, folder=measured), MidspanError)


def test_a_shaft_that_comes_back_without_its_label_is_known_again(measured):
    done(measured, "measure", typed=["B03", "", "q"])
    which = json.loads(done(measured, "shafts", "which", "--json").stdout)
    assert which


def test_everything_is_in_a_backup(measured):
    done(measured, "backup")
    (folder,) = (measured / "backups").iterdir()
    done(measured, "restore", folder, "--into", measured / "elsewhere")
    assert len(listed(measured / "elsewhere")) >= SHAFTS


def test_what_is_mistyped_in_the_workspace_is_named(measured):
    file = measured / "midspan.toml"
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("[shown]", "[shwon]"), encoding="utf-8")
    try:
        assert "shwon" in str(refusal(midspan("show", "1", folder=measured), MidspanError))
    finally:
        file.write_text(text, encoding="utf-8")
    assert refusal(midspan("show", "no such shaft", folder=measured), StoreError).code == "never_measured"
