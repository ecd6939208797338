"""`midspan sort` on the simulated gauge: the real device code, its world's file as the ledger, signals and mistakes."""

import os
import pty
import re
import shutil
import signal
import subprocess
import sys
from contextlib import contextmanager

import pytest
from commands_rig import complaint, midspan, settings
from midspan.rehearsal import scenario_night
from midspan.store.journal import Journal
from midspan.store.transit import RunEventKind
from sort_rig import check_ledger, places_of_stock, transits, where
from stores import store_in

# The returns of the club, one of them cracked, one with a loose plug of the gauge; the empty place is no shaft.
STOCK, HOPPER = 7, 6
RUN = """
import sys
from midspan.rehearsal import scenario_night
scenario_night.STOCK, scenario_night.MISHAPS = {stock}, {mishaps}
sys.argv = ["midspan", *{arguments}]
from midspan.cli.main import main
main()
"""


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder with a plan and all that it names."""
    monkeypatch.setattr(scenario_night, "STOCK", STOCK)
    monkeypatch.setattr(scenario_night, "MISHAPS", {})
    calibration, _ = settings(tmp_path)
    calibration.rename(tmp_path / "calibration.toml")
    (tmp_path / "night.toml").write_text(scenario_night.PLAN, encoding="utf-8")
    return tmp_path


def change(folder, old, new):
    text = (folder / "night.toml").read_text(encoding="utf-8")
    assert old in text
    (folder / "night.toml").write_text(text.replace(old, new), encoding="utf-8")


def test_a_night_from_beginning_to_end(folder):
    done = midspan("sort", folder / "night.toml")
    assert done.returncode == 0, done.stderr
    assert "Night 1: 6 shafts. Over: the hopper is empty." in done.stdout
    assert f"Next: midspan report 1 --store {folder}/results.db" in done.stdout
    assert done.stderr.count("into place") == HOPPER + 2  # the check standard's two
    check_ledger(folder, HOPPER)
    notice = (folder / "night.log").read_text().splitlines()[-1]
    assert " night 1 on gauge rehearsal, finished: the hopper is empty; 6 shafts: " in notice
    told = {f"place {place}": int(number) for number, place in re.findall(r"(\d+) in place (\d+) ", notice)}
    assert told == places_of_stock(folder)
    cracked = next(shaft for shaft, place in where(folder).items() if place == "place 5")
    assert cracked == 1  # the club's cracked one lies first in the hopper
    again = midspan("sort", folder / "night.toml")  # someone filled the hopper
    assert "Night 2: 6 shafts. Over" in again.stdout


def test_what_is_over_cannot_go_on_and_what_is_not_must_not_be_forgotten(folder):
    assert complaint(midspan("sort", folder / "night.toml", "--resume")).endswith(
        "there is no night on gauge rehearsal to go on with"
    )
    change(folder, "faults_in_a_row = 3", "faults_in_a_row = 3\nuncertain_in_a_row = 1")
    scenario_night.MISHAPS["unseen"] = [3]
    stopped = midspan("sort", folder / "night.toml")
    assert stopped.returncode == 1
    assert stopped.stderr.splitlines()[-1] == (
        "midspan: the chute missed 1 shafts in a row: look at its sensor, and recount. Then go on with: "
        f"midspan sort {folder}/night.toml --resume"
    )
    assert "Recount: place" in stopped.stdout
    assert "Never shoot what lies in place 5 (cracked): it may be cracked." in stopped.stdout
    told = complaint(midspan("sort", folder / "night.toml"))
    assert told.startswith("midspan: night 1 was not finished: go on with --resume, or begin another with --anew")
    assert midspan("sort", folder / "night.toml", "--resume").returncode == 0
    check_ledger(folder, HOPPER)
    assert midspan("sort", folder / "night.toml", "--resume").returncode == 1


@pytest.mark.parametrize(
    ("guards", "missing"), [(0, "no lid and no emergency-stop"), (1, "no emergency-stop"), (2, "no lid")]
)
def test_nobody_leaves_a_gauge_alone_that_does_not_know_lid_and_stop(folder, monkeypatch, guards, missing):
    monkeypatch.setattr(scenario_night, "STOCK", 1)
    scenario_night.MISHAPS["guards"] = guards
    assert complaint(midspan("sort", folder / "night.toml")) == (
        f"midspan: gauge rehearsal has {missing} input configured, so nobody may leave it alone: configure it on the "
        "board, or stay with the gauge and use --attended"
    )
    assert not (folder / "rehearsal" / "world.txt").exists()
    with store_in(folder).open() as store:
        assert Journal(store).nights() == []
    assert midspan("sort", folder / "night.toml", "--attended").returncode == 0


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('name = "rehearsal" ', 'name = "attic" ', "the gauge there is 'rehearsal', not 'attic'"),
        ("number = 6", "number = 7", "place 7 (standard) does not exist: the gauge has 6 places"),
        ('bin = "softer dozen"', 'bin = "soft dozen"', "bin 'softer dozen' of the bands has no place"),
        ('port = "rehearsal"', 'port = "no-such-port"', "no-such-port: there is no such port"),
        ('"calibration.toml"', '"none.toml"', "none.toml: cannot be read"),
        ('log = "night.log"', 'webhook = ["ftp://x"]', "webhook"),
        ('log = "night.log"', 'log = "./results.db"', "notices.log and sort.store are one file"),
        ('archive = "night-readings.avro"', 'archive = "night.toml"', "sort.archive and the plan itself are one file"),
        ('log = "night.log"', 'log = "none/night.log"', "the log of notices cannot be written (No such file"),
    ],
)
def test_a_plan_that_does_not_fit_begins_no_night(folder, old, new, words):
    change(folder, old, new)
    assert words in complaint(midspan("sort", folder / "night.toml"))
    if (folder / "results.db").exists():
        with store_in(folder).open() as store:
            assert Journal(store).nights() == []


def test_a_night_that_goes_on_lays_no_shaft_to_others_that_were_judged_in_another_way(folder):
    change(folder, "faults_in_a_row = 3", "faults_in_a_row = 3\nuncertain_in_a_row = 1")
    scenario_night.MISHAPS["unseen"] = [3]
    assert midspan("sort", folder / "night.toml").returncode == 1
    plan, bands = ((folder / name).read_text(encoding="utf-8") for name in ("night.toml", "bands.toml"))
    swapped = plan.replace("stiffer", "S").replace("softer", "stiffer").replace("S dozen", "softer dozen")
    (folder / "night.toml").write_text(swapped, encoding="utf-8")
    assert "place 1 (softer dozen) was for 'stiffer dozen' when night 1 began: put it back" in complaint(
        midspan("sort", folder / "night.toml", "--resume")
    )
    (folder / "night.toml").write_text(plan.replace("holds = 20", "holds = 30"), encoding="utf-8")
    (folder / "bands.toml").write_text(bands.replace("499.0", "498.0"), encoding="utf-8")
    assert bands != (folder / "bands.toml").read_text(encoding="utf-8")
    assert "bands.toml: the bands changed since night 1 began" in complaint(
        midspan("sort", folder / "night.toml", "--resume")
    )
    (folder / "bands.toml").write_text(bands, encoding="utf-8")
    for number in ("6", "9"):
        assert f"--emptied {number}: the plan has no such place that fills" in complaint(
            midspan("sort", folder / "night.toml", "--resume", "--emptied", number)
        )
    assert midspan("sort", folder / "night.toml", "--resume", "--emptied", "1").returncode == 0


def test_a_calibration_of_another_gauge_is_refused_unless_one_says_so(folder):
    text = (folder / "calibration.toml").read_text(encoding="utf-8")
    (folder / "calibration.toml").write_text(text.replace('gauge = "rehearsal"', 'gauge = "attic"'), encoding="utf-8")
    assert "measured on gauge 'rehearsal', but the calibration is of 'attic'" in complaint(
        midspan("sort", folder / "night.toml")
    )
    done = midspan("sort", folder / "night.toml", "--doubtful-calibration")
    assert done.returncode == 1  # its results say so, which makes the check standard's a bad one
    assert "check standard bar 1 was out of control" in done.stderr


def test_an_opened_lid_stops_the_night_at_once_and_only_a_person_starts_it_again(folder):
    # A cycle takes most of 20 s: it is under way at one of these, wherever a busy machine puts the gap between two.
    for at_s in (50, 57, 64, 71):
        here = shutil.copytree(folder, folder.with_name(f"{folder.name}-{at_s}"))
        scenario_night.MISHAPS["lid"] = [[float(at_s), 5.0]]
        stopped = midspan("sort", here / "night.toml")
        if "does not move for" not in stopped.stderr:
            break
    told = "midspan: the gauge stands still: LID_OPEN: The lid was opened while something moved. "
    assert complaint(stopped).startswith(told)
    assert complaint(stopped).endswith(f"Then go on with: midspan sort {here}/night.toml --resume --clear-fault")
    with here.joinpath("rehearsal", "world.txt").open("a") as world:
        world.write(f"{at_s + 6}000 - lid ends\n")
    assert midspan("sort", here / "night.toml", "--resume").returncode == 0  # the simulated one began anew meanwhile
    check_ledger(here, HOPPER)


def test_in_an_attended_night_the_person_is_asked_and_the_night_goes_on(folder, monkeypatch):
    scenario_night.MISHAPS["lid"] = [[50.0, 5.0], [120.0, 5.0]]
    asked = []
    monkeypatch.setattr("builtins.input", lambda words: asked.append(words) or "")
    done = midspan("sort", folder / "night.toml", "--attended")
    assert done.returncode == 0, done.stderr
    assert asked
    assert all("LID_OPEN" in words or "the lid is open: shut it" in words for words in asked)
    assert all(words.endswith("Enter when done, or type stop: ") and ".." not in words for words in asked)
    check_ledger(folder, HOPPER)


@pytest.mark.parametrize("answer", ["stop", EOFError])
def test_a_person_who_does_not_want_to_go_on_ends_the_night(folder, monkeypatch, answer):
    # Open for so long that a busy machine meets it too, if not while something moves, then at the next order.
    scenario_night.MISHAPS["lid"] = [[50.0, 60.0]]

    def say(_):
        if answer is EOFError:
            raise EOFError
        return answer

    monkeypatch.setattr("builtins.input", say)
    said = complaint(midspan("sort", folder / "night.toml", "--attended"))
    assert "LID_OPEN" in said or "the lid is open" in said


# Processes and signals


def started(folder, *options, mishaps=None):
    arguments = ["sort", str(folder / "night.toml"), *options]
    code = RUN.format(stock=STOCK, mishaps=mishaps or {}, arguments=arguments)
    return subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def until(process, words):
    """Read what it says until the words come."""
    for line in process.stderr:
        if words in line:
            return
    raise AssertionError(process.stderr.read())


def test_killed_and_gone_on_with(folder):
    for options, words in (((), "shaft 3"), (("--resume",), "shaft 5")):
        host = started(folder, *options)
        until(host, words)
        host.kill()
        host.communicate()
    host = started(folder, "--resume")
    assert "Over: the hopper is empty" in host.communicate()[0]
    assert host.returncode == 0
    check_ledger(folder, HOPPER)
    with store_in(folder).open() as store:
        kinds = [one.kind for one in Journal(store).events(1) if one.kind is not RunEventKind.FAULT]
        went_on = [one.words for one in Journal(store).events(1) if one.kind is RunEventKind.RESUMED]
    assert kinds == [RunEventKind.BEGUN, RunEventKind.RESUMED, RunEventKind.RESUMED, RunEventKind.ENDED]
    assert went_on == ["the night goes on; it broke off without a word here: see night.log, or the host was killed"] * 2


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_ctrl_c_finishes_the_shaft_in_hand_and_closes_the_night(folder, number):
    host = started(folder)
    until(host, "shaft 2")
    host.send_signal(number)
    out, err = host.communicate()
    assert host.returncode == 130
    assert "finishing the shaft in hand; Ctrl-C again stops at once" in err
    assert "Stopped: you asked for it." in out
    assert f"Go on with: midspan sort {folder}/night.toml --resume" in err
    assert err.splitlines()[-1] == "midspan: stopped by you; everything measured so far is kept"
    assert not [one for one in transits(folder) if one.is_open]
    assert transits(folder)[-1].standard == "bar 1"  # checked once more
    host = started(folder, "--resume")
    assert host.wait() == 0
    host.communicate()
    with store_in(folder).open() as store:
        assert "the night goes on" in [one.words for one in Journal(store).events(1)]
    check_ledger(folder, HOPPER)


def test_ctrl_c_twice_stops_at_once(folder):
    host = started(folder)
    until(host, "shaft 2")
    host.send_signal(signal.SIGINT)
    until(host, "finishing the shaft")
    host.send_signal(signal.SIGINT)
    out, err = host.communicate()
    assert host.returncode == 130, err
    assert "Stopped: you " in out  # at once, or it was finished just then
    host = started(folder, "--resume")
    assert "Over: the hopper is empty" in host.communicate()[0]
    check_ledger(folder, HOPPER)


@contextmanager
def on_a_terminal(folder, *options):
    """A host with a terminal of its own, and what of it the person sees so far."""
    arguments = ["sort", str(folder / "night.toml"), *options]
    code = RUN.format(stock=STOCK, mishaps={}, arguments=arguments)
    person, terminal = pty.openpty()
    host = subprocess.Popen(
        [sys.executable, "-c", TERMINAL + code], stdin=terminal, stdout=terminal, stderr=terminal,
        start_new_session=True, env={**os.environ, "TERM": "xterm", "COLUMNS": "120"},
    )  # fmt: skip
    os.close(terminal)
    try:
        yield host, person
    finally:
        host.kill()
        host.wait()


TERMINAL = "import fcntl, termios; fcntl.ioctl(0, termios.TIOCSCTTY, 0)\n"


def seen(person, words):
    """Read the screen until the words are on it, or the program is over."""
    text = ""
    while words not in text:
        try:
            text += os.read(person, 4096).decode(errors="replace")
        except OSError:
            break
    return text


def test_on_a_terminal_a_line_keeps_up_and_ctrl_c_is_heard(folder):
    with on_a_terminal(folder) as (host, person):
        text = seen(person, "into place 4 (rejected)")
        text += seen(person, "an hour")
        os.write(person, b"\x03")
        text += seen(person, "never")
        assert host.wait() == 130
    assert "cracked 1" in text
    assert "min left" in text
    assert "finishing the shaft in hand; Ctrl-C again stops at once" in text
    assert "Stopped: you asked for it." in text
    os.close(person)


def test_a_night_goes_on_when_its_terminal_is_closed(folder):
    with on_a_terminal(folder) as (host, person):
        seen(person, "into place 4 (rejected)")
        os.close(person)
        host.wait()
    with store_in(folder).open() as store:
        assert Journal(store).events(1)[-1].words == "the hopper is empty"
    check_ledger(folder, HOPPER)


def test_a_night_goes_on_when_nobody_reads_what_it_says(folder):
    host = started(folder)
    until(host, "shaft 2")
    host.stderr.close()
    with host.stdout as out:
        assert "Over: the hopper is empty." in out.read()
    host.wait()
    check_ledger(folder, HOPPER)


def test_two_gauges_sort_into_one_store_at_the_same_time(folder):
    """Each in its own folder with a name of its own; the database is shared."""
    hosts = []
    for name in ("left", "right"):
        own = folder / name
        own.mkdir()
        for file in ("calibration.toml", "bands.toml"):
            text = (folder / file).read_text(encoding="utf-8")
            (own / file).write_text(text.replace('"rehearsal', f'"{name}'), encoding="utf-8")
        plan = scenario_night.PLAN.replace('store = "results.db"', 'store = "../results.db"')
        plan = plan.replace('name = "rehearsal"', f'name = "{name}"')
        (own / "night.toml").write_text(plan, encoding="utf-8")
        hosts.append(started(own, mishaps={"name": name}))
    outs = [host.communicate() for host in hosts]
    assert [host.returncode for host in hosts] == [0, 0], outs
    with store_in(folder).open() as store:
        journal = Journal(store)
        nights = journal.nights()
        ways = [journal.transits(night.id) for night in nights]
        results = [len(store.batch(night.batch)) for night in nights]
    assert len(nights) == 2
    shafts = [one.shaft for night in ways for one in night]
    assert len(shafts) == len(set(shafts)) == 2 * (HOPPER + 2)
    assert results == [sum(one.measured for one in night) for night in ways]
