"""`midspan sort` on the simulated gauge: the real device code, its world's file as the ledger, signals and mistakes."""

import os
import pty
import re
import shutil
import signal
import subprocess
import sys
from collections import Counter
from contextlib import contextmanager

import pytest
from commands_rig import complaint, midspan, settings
from midspan.measurement.result import ShaftResult
from midspan.rehearsal import scenario_night
from midspan.sorting.loop import AS_ASKED, AT_ONCE
from midspan.store.journal import Journal
from midspan.store.transit import RunEventKind
from sort_rig import check_ledger, places_of_stock, transits, where
from stores import store_in

pytestmark = pytest.mark.process

# The returns of the club, one of them cracked, another with a loose plug of the gauge; the empty place is no shaft.
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
    """Replace a text of the plan."""
    text = (folder / "night.toml").read_text(encoding="utf-8")
    assert old in text
    (folder / "night.toml").write_text(text.replace(old, new), encoding="utf-8")


# What the shafts in each place of the plan are, as the account of a run says it.
MEANT = {"place 1": "in bins", "place 2": "in bins", "place 3": "to measure again", "place 4": "rejected",
         "place 5": "maybe cracked"}  # fmt: skip


def last_event(folder):
    """Return the newest event of the first night."""
    with store_in(folder).open() as store:
        return Journal(store).events(1)[-1]


def test_a_night_from_beginning_to_end(folder, snapshot):
    done = midspan("sort", folder / "night.toml")
    assert done.returncode == 0, done.stderr
    # How many lie in each place is compared with the world below.
    assert re.sub(r"(?m)(?<= )\d+$", "N", done.stdout.replace(str(folder), "FOLDER")) == snapshot
    assert len(re.findall(r"place \d", done.stderr)) == HOPPER + 2  # the check standard's two
    check_ledger(folder, HOPPER)
    notice = (folder / "night.log").read_text().splitlines()[-1]
    assert re.search(r" run 1 on gauge rehearsal, finished: .*; 6 shafts: ", notice)
    told = {
        what: int(number) for number, what in re.findall(r"(\d+) ([a-z ]+?)(?=[,.])", notice.partition("shafts: ")[2])
    }
    lie = Counter()
    for place, number in places_of_stock(folder).items():
        lie[MEANT[place]] += number
    assert {what: number for what, number in told.items() if what in lie} == lie
    cracked = next(shaft for shaft, place in where(folder).items() if place == "place 5")
    assert cracked == 1  # the club's cracked shaft lies first in the hopper
    again = midspan("sort", folder / "night.toml")  # a person filled the hopper
    assert again.returncode == 0
    assert again.stdout.startswith("Run 2: 6 ")


def test_what_is_over_cannot_go_on_and_what_is_not_must_not_be_forgotten(folder):
    assert "gauge rehearsal" in complaint(midspan("sort", folder / "night.toml", "--resume"))
    change(folder, "faults_in_a_row = 3", "faults_in_a_row = 3\nuncertain_in_a_row = 1")
    scenario_night.MISHAPS["unseen"] = [3]
    stopped = midspan("sort", folder / "night.toml")
    assert stopped.returncode == 1
    assert stopped.stderr.splitlines()[-1].endswith(f"midspan sort {folder}/night.toml --resume")
    assert last_event(folder).kind is RunEventKind.STOPPED
    assert [place for place in ("Recount: place", "place 5 (cracked)") if place not in stopped.stdout] == []
    told = complaint(midspan("sort", folder / "night.toml"))
    assert [part for part in ("run 1 ", "--resume", "--anew") if part not in told] == []
    assert midspan("sort", folder / "night.toml", "--resume").returncode == 0
    check_ledger(folder, HOPPER)
    assert midspan("sort", folder / "night.toml", "--resume").returncode == 1


@pytest.mark.parametrize(
    ("guards", "missing"), [(0, "no lid and no emergency-stop"), (1, "no emergency-stop"), (2, "no lid")]
)
def test_nobody_leaves_a_gauge_alone_that_does_not_know_lid_and_stop(folder, monkeypatch, guards, missing):
    monkeypatch.setattr(scenario_night, "STOCK", 1)
    scenario_night.MISHAPS["guards"] = guards
    assert f"gauge rehearsal has {missing} input" in complaint(midspan("sort", folder / "night.toml"))
    assert not (folder / "rehearsal" / "world.txt").exists()
    with store_in(folder).open() as store:
        assert Journal(store).nights() == []
    assert midspan("sort", folder / "night.toml", "--attended").returncode == 0


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ('name = "rehearsal" ', 'name = "attic" ', ["'rehearsal'", "'attic'"]),
        ("number = 6", "number = 7", ["place 7 (standard)", "6 places"]),
        ('bin = "softer dozen"', 'bin = "soft dozen"', ["'softer dozen'"]),
        ('port = "rehearsal"', 'port = "no-such-port"', ["no-such-port"]),
        ('"calibration.toml"', '"none.toml"', ["none.toml"]),
        ('log = "night.log"', 'webhook = ["ftp://x"]', ["webhook 1"]),
        ('log = "night.log"', 'log = "./results.db"', ["notices.log", "sort.store"]),
        ('archive = "night-readings.avro"', 'archive = "night.toml"', ["sort.archive", "night.toml"]),
        ('log = "night.log"', 'log = "none/night.log"', ["none/night.log"]),
    ],
)
def test_a_plan_that_does_not_fit_begins_no_night(folder, old, new, named):
    change(folder, old, new)
    said = complaint(midspan("sort", folder / "night.toml"))
    assert [value for value in named if value not in said] == []
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
    said = complaint(midspan("sort", folder / "night.toml", "--resume"))
    assert [value for value in ("place 1 (softer dozen)", "'stiffer dozen'", "run 1 ") if value not in said] == []
    (folder / "night.toml").write_text(plan.replace("holds = 20", "holds = 30"), encoding="utf-8")
    (folder / "bands.toml").write_text(bands.replace("499.0", "498.0"), encoding="utf-8")
    assert bands != (folder / "bands.toml").read_text(encoding="utf-8")
    said = complaint(midspan("sort", folder / "night.toml", "--resume"))
    assert [value for value in ("bands.toml", "run 1 ") if value not in said] == []
    (folder / "bands.toml").write_text(bands, encoding="utf-8")
    for number in ("6", "9"):
        said = complaint(midspan("sort", folder / "night.toml", "--resume", "--emptied", number))
        assert f"--emptied {number}:" in said
    assert midspan("sort", folder / "night.toml", "--resume", "--emptied", "1").returncode == 0


def test_a_calibration_of_another_gauge_is_refused_unless_one_says_so(folder):
    text = (folder / "calibration.toml").read_text(encoding="utf-8")
    (folder / "calibration.toml").write_text(text.replace('gauge = "rehearsal"', 'gauge = "attic"'), encoding="utf-8")
    said = complaint(midspan("sort", folder / "night.toml"))
    assert [value for value in ("'rehearsal'", "'attic'") if value not in said] == []
    done = midspan("sort", folder / "night.toml", "--doubtful-calibration")
    assert done.returncode == 1  # its results say so, which makes the check of the standard a bad one
    with store_in(folder).open() as store:
        assert [check.good for check in Journal(store).checks(night=1)] == [False]


def test_a_room_that_warms_beyond_the_calibration_calls_a_person_and_leaves_its_shafts_in_doubt(folder):
    scenario_night.MISHAPS["warming_centi_per_h"] = 36_000.0  # 0.1 K a second: the range ends after 50 s
    assert midspan("sort", folder / "night.toml").returncode == 1
    called = [line for line in (folder / "night.log").read_text(encoding="utf-8").splitlines() if "needs a" in line]
    assert len(called) == 1
    assert "calibrated for 16 to 26" in called[0]
    with store_in(folder).open() as store:
        alarms = [event for event in Journal(store).events(1) if event.kind is RunEventKind.ALARM]
        assert {event.code for event in alarms} == {"TEMPERATURE_OFF"}
        in_doubt = {event.shaft for event in alarms if ", calibrated for 16 to 26" in event.words}
        assert in_doubt
        found = [store.latest(shaft).result for shaft in in_doubt]
        measured = [result for result in found if isinstance(result, ShaftResult)]  # a shaft with a fault has no value
        assert measured
        for result in measured:
            assert result.temperature_c > 26
            assert any(", calibrated for 16 to 26" in doubt for doubt in result.doubts)


def test_an_opened_lid_stops_the_night_at_once_and_only_a_person_starts_it_again(folder):
    # A cycle takes 8 of some 10 s: it is under way at one of these, wherever a busy machine puts the gap between two.
    for at_s in range(50, 80, 3):
        here = shutil.copytree(folder, folder.with_name(f"{folder.name}-{at_s}"))
        scenario_night.MISHAPS["lid"] = [[float(at_s), 5.0]]
        stopped = midspan("sort", here / "night.toml")
        if "LID_OPEN: " in stopped.stderr and "does not move for" not in stopped.stderr:
            break
    assert "LID_OPEN: " in complaint(stopped)
    assert complaint(stopped).endswith(f"midspan sort {here}/night.toml --resume --clear-fault")
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
    assert all("lid" in words and ".." not in words for words in asked)
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
    assert "lid" in said


# Processes and signals


def started(folder, *options, mishaps=None):
    """Start a host as a process of its own."""
    arguments = ["sort", str(folder / "night.toml"), *options]
    code = RUN.format(stock=STOCK, mishaps=mishaps or {}, arguments=arguments)
    return subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def until(process, words):
    """Read what a host says until some words come."""
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
    host.communicate()
    assert host.returncode == 0
    check_ledger(folder, HOPPER)
    with store_in(folder).open() as store:
        kinds = [event.kind for event in Journal(store).events(1) if event.kind is not RunEventKind.FAULT]
        went_on = [event.words for event in Journal(store).events(1) if event.kind is RunEventKind.RESUMED]
    assert kinds == [RunEventKind.BEGUN, RunEventKind.RESUMED, RunEventKind.RESUMED, RunEventKind.ENDED]
    assert len(set(went_on)) == 1
    assert "killed" in went_on[0]


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_ctrl_c_finishes_the_shaft_in_hand_and_closes_the_night(folder, number):
    host = started(folder)
    until(host, "shaft 2")
    host.send_signal(number)
    out, err = host.communicate()
    assert host.returncode == 130
    assert (AS_ASKED in out, "Ctrl-C" in err) == (True, True)
    assert f"midspan sort {folder}/night.toml --resume" in err
    assert err.splitlines()[-1].startswith("midspan: ")
    assert not [transit for transit in transits(folder) if transit.is_open]
    assert transits(folder)[-1].standard == "bar 1"  # checked once more
    host = started(folder, "--resume")
    assert host.wait() == 0
    host.communicate()
    with store_in(folder).open() as store:
        assert [event.kind for event in Journal(store).events(1)].count(RunEventKind.RESUMED) == 1
    check_ledger(folder, HOPPER)


def test_ctrl_c_twice_stops_at_once(folder):
    host = started(folder)
    until(host, "shaft 2")
    host.send_signal(signal.SIGINT)
    until(host, "Ctrl-C")
    host.send_signal(signal.SIGINT)
    out, err = host.communicate()
    assert host.returncode == 130, err
    told = " ".join(out.split())  # the line may be broken anywhere
    assert AS_ASKED in told or AT_ONCE in told  # at once, unless the shaft was just finished
    host = started(folder, "--resume")
    host.communicate()
    assert host.returncode == 0
    check_ledger(folder, HOPPER)


@contextmanager
def on_a_terminal(folder, *options):
    """Yield a host with a terminal of its own, and the person's end of that terminal."""
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
    """Read the screen until some words are on it or the program ends; return the screen."""
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
    assert "Ctrl-C" in text
    assert AS_ASKED in text
    os.close(person)


def test_a_night_goes_on_when_its_terminal_is_closed(folder):
    with on_a_terminal(folder) as (host, person):
        seen(person, "into place 4 (rejected)")
        os.close(person)
        host.wait()
    assert last_event(folder).kind is RunEventKind.ENDED
    check_ledger(folder, HOPPER)


def test_a_night_goes_on_when_nobody_reads_what_it_says(folder):
    host = started(folder)
    until(host, "shaft 2")
    host.stderr.close()
    with host.stdout as out:
        assert out.read().startswith("Run 1: 6 ")
    assert host.wait() == 0
    check_ledger(folder, HOPPER)


def test_two_gauges_sort_into_one_store_at_the_same_time(folder):
    """Sort on two gauges, each with a folder and name of its own, into a shared database."""
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
    shafts = [transit.shaft for night in ways for transit in night]
    assert len(shafts) == len(set(shafts)) == 2 * (HOPPER + 2)
    assert results == [sum(transit.measured for transit in night) for night in ways]
