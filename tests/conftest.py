"""Property tests draw the same examples every time and are never failed for being slow; long files begin first."""

import gc
import os
import signal
import sys
from pathlib import PurePath
from tempfile import mkdtemp

import pytest
from hypothesis import HealthCheck, settings
from stores import store_in

# Programs for MicroPython, shadows of the chip's modules, the bench: run by tests, not collected as such.
collect_ignore_glob = ["*_on_device.py", "bench/*", "device/pio/*"]

settings.register_profile(
    "same every time", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("same every time")

# From three quarters of a minute on: the last to begin would keep one core busy while the others have nothing to do.
LONGEST = (
    "test_campaign_night", "test_sort_command", "test_page", "test_readme", "test_hand_bench", "test_cli", "test_night",
    "test_device_limits", "test_whole_path",
)  # fmt: skip


def pytest_collection_modifyitems(items):
    """Hand files out in the order of `make test`, and mark the one example that starts a simulated gauge."""
    items.sort(key=lambda item: LONGEST.index(item.path.stem) if item.path.stem in LONGEST else len(LONGEST))
    for item in items:
        if item.name == "midspan":
            item.add_marker(pytest.mark.process)


# `make quick` leaves out what starts a process, so a test that starts one without saying so fails everywhere. Plotting
# and the library of C ask the system for its fonts and libraries once.
PROCESS_EVENTS = {"subprocess.Popen", "os.fork", "os.forkpty", "os.posix_spawn"}
ASKED_BY_LIBRARIES = {"fc-list", "ldconfig", "uname"}
running = []


def only_if_marked(event, arguments):
    """Refuse a process that the running test has no mark for."""
    if event in PROCESS_EVENTS and running and not running[0].get_closest_marker("process"):
        program = PurePath(str(arguments[0])).name if arguments else event
        if program not in ASKED_BY_LIBRARIES:
            pytest.fail(f"{running[0].nodeid} starts {program}: mark it with pytest.mark.process")


sys.addaudithook(only_if_marked)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item):
    """Know which test runs, fixtures of its module included."""
    running[:] = [item]
    try:
        return (yield)
    finally:
        running.clear()


@pytest.fixture(scope="module", autouse=True)
def collected():
    """Each device collects garbage when it is made: what the tests and modules before hold by now never is any."""
    gc.collect()
    gc.freeze()


@pytest.fixture
def store_place(tmp_path):
    """The place of a store in the folder of the test, for what opens it again or runs commands on it; none is there."""
    return store_in(tmp_path)


@pytest.fixture
def store(store_place):
    """A fresh store there, open until the test ends; it waits for no other program."""
    with store_place.open(wait_s=0.0) as opened:
        yield opened


# What a shell starts in the background ignores Ctrl-C, and so would all that is started here to see what Ctrl-C does.
signal.signal(signal.SIGINT, signal.default_int_handler)

# Commands that tests run log to a folder of the tests, not to that of whoever runs them.
os.environ["XDG_STATE_HOME"] = mkdtemp(prefix="midspan-tests-")
