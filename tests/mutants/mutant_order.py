"""Plugin of pytest for the runs over mutants: note which test calls what, and later begin with those that call it.

MUTANT_NOTES names the file of the notes, MUTANT_PLACE the changed definition; without a place the notes are written.
"""

import json
import os
import sys
import threading
from pathlib import Path

import pytest
from hypothesis import Phase, settings

NOTES = Path(os.environ.get("MUTANT_NOTES", os.devnull))
PLACE = os.environ.get("MUTANT_PLACE")
HOST = f"{Path.cwd() / 'host' / 'midspan'}{os.sep}"

_noted = {}


def pytest_configure():
    """Let a property that fails be enough: the smallest example of a failure is of no use here, and takes minutes."""
    settings.register_profile("mutants", settings(phases=(Phase.explicit, Phase.generate)))
    settings.load_profile("mutants")


def _place(code):
    """Return module and dotted name of a running function of the host, or None for all others."""
    if not code.co_filename.startswith(HOST):
        return None
    parts = [part for part in code.co_qualname.split(".") if not part.startswith("<")]
    return f"{code.co_filename[len(HOST) :]}:{'.'.join(parts)}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item):
    """Note the functions of the host that a test calls, in all of its threads."""
    if PLACE is not None:
        return (yield)
    seen = set()

    def note(frame, event, _):
        if event == "call":
            seen.add(frame.f_code)

    threading.setprofile(note)
    sys.setprofile(note)
    try:
        return (yield)
    finally:
        sys.setprofile(None)
        threading.setprofile(None)
        _noted.setdefault(item.nodeid, {"s": 0.0})["calls"] = sorted(
            {place for code in seen if (place := _place(code))}
        )


def pytest_runtest_logreport(report):
    """Add up what a test takes."""
    if PLACE is None:
        _noted.setdefault(report.nodeid, {"s": 0.0})["s"] += report.duration


def pytest_sessionfinish():
    """Write the notes."""
    if PLACE is None:
        NOTES.write_text(json.dumps(_noted), encoding="utf-8")


def _calls(note, place):
    """Return True if a test calls the function at a place; what stands in a class or module runs for all tests."""
    function = place.partition(":")[2].rpartition(".")[2].lstrip("_")
    return not function or function[0].isupper() or place in note["calls"]


def in_order(ids, notes, place):
    """Return tests in the order in which a fault is found soonest: those that call the changed definition, quick first.

    Tests of one file stay together among those that call it and among those that do not, so that what a file sets
    up is set up twice at most.
    """
    total = {}
    for name in ids:
        total[name.partition("::")[0]] = total.get(name.partition("::")[0], 0.0) + notes[name]["s"]

    def rank(name):
        return not _calls(notes[name], place), total[name.partition("::")[0]], name.partition("::")[0], notes[name]["s"]

    return sorted(ids, key=rank)


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config, items):
    """Put the tests of a mutant in order."""
    if PLACE is not None:
        notes = json.loads(NOTES.read_text(encoding="utf-8"))
        noted = {item.nodeid: notes.get(item.nodeid, {"s": 0.0, "calls": []}) for item in items}
        ranks = {name: rank for rank, name in enumerate(in_order(list(noted), noted, PLACE))}
        items.sort(key=lambda item: ranks[item.nodeid])
        if "MUTANT_CALLERS" in os.environ:
            left_out = [item for item in items if not _calls(noted[item.nodeid], PLACE)]
            items[:] = [item for item in items if _calls(noted[item.nodeid], PLACE)]
            config.hook.pytest_deselected(items=left_out)
