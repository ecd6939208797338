"""The records of both ends are those that `make records` makes, and it refuses to reuse a number."""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from definitions import DefinitionError, Definitions, check, definitions
from make_records import FILES, device_text, host_text
from midspan.wire import records

REASON = "its sensor is no longer built"


@pytest.fixture
def given() -> Definitions:
    """Return a copy of the definitions in protocol/ that a test may change."""
    return copy.deepcopy(definitions())


def enum_of(given: Definitions, name: str) -> dict[str, Any]:
    return next(enum for enum in given.named("enum") if enum["name"] == name)


def made(text: str) -> dict[str, Any]:
    names: dict[str, Any] = {"__name__": "midspan.wire.records"}  # dataclasses look up the types of their fields there
    exec(text, names)
    return names


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.parent.name)
def test_the_file_is_what_make_records_makes(path: Path, given: Definitions) -> None:
    check(given)
    assert path.read_text(encoding="utf-8") == FILES[path](given), "out of date: make records"


def test_an_added_field_reaches_both_ends(given: Definitions) -> None:
    event = given.union[3]
    event["fields"].append({"name": "lamp_lux", "type": ["null", "int"], "minimum": 5, "doc": "Light on the rollers."})
    device, host = made(device_text(given)), made(host_text(given))
    assert device["RECORDS"][device["EVENT"]][-1] == ("null", "number")
    assert host["Event"].__annotations__["lamp_lux"] == "int | None"
    assert host["RANGES"][host["Event"]]["lamp_lux"] == (5, 2**31 - 1)


def test_an_added_fault_reaches_both_ends(given: Definitions) -> None:
    enum_of(given, "FaultCode")["symbols"].append("LAMP_DARK")
    with pytest.raises(DefinitionError, match="LAMP_DARK"):
        check(given)
    given.faults["device"]["LAMP_DARK"] = {"text": "The lamp is dark."}
    check(given)
    device, host = made(device_text(given)), made(host_text(given))
    assert device["FAULT_CODES"][device["LAMP_DARK"]] == "LAMP_DARK"
    assert host["FaultCode"].LAMP_DARK == device["LAMP_DARK"] == len(records.FaultCode)


def test_a_retired_symbol_keeps_its_number_and_says_why(given: Definitions) -> None:
    enum_of(given, "Source")["retired"] = {"SLOT": {"number": 1, "reason": REASON}}
    check(given)
    assert re.search(rf"SLOT = 1  # retired: {REASON}\n", host_text(given))
    assert made(device_text(given))["SEATED"] == 2


@pytest.mark.parametrize("symbols", [["HOPPER", "TRAY", "SEATED"], ["HOPPER", "SEATED"], ["SLOT", "HOPPER"], []])
def test_the_number_of_a_retired_symbol_is_not_given_again(given: Definitions, symbols: list[str]) -> None:
    source = enum_of(given, "Source")
    source |= {"retired": {"SLOT": {"number": 1, "reason": REASON}}, "symbols": symbols}
    with pytest.raises(DefinitionError) as caught:
        check(given)
    assert all(value in str(caught.value) for value in ("Source", "1", "SLOT", REASON))


def test_a_retired_fault_needs_no_words(given: Definitions) -> None:
    codes = enum_of(given, "FaultCode")
    codes["retired"] = {"JAM": {"number": codes["symbols"].index("JAM"), "reason": REASON}}
    del given.faults["device"]["JAM"]
    check(given)


def swap(union: list[dict[str, Any]]) -> None:
    union[11], union[12] = union[12], union[11]


def drop(union: list[dict[str, Any]]) -> None:
    del union[9]


def insert(union: list[dict[str, Any]]) -> None:
    union.insert(1, union[3] | {"name": "Lamp", "branch": 1})


@pytest.mark.parametrize("change", [swap, drop, insert])
def test_the_number_of_a_record_is_not_given_again(given: Definitions, change: Callable[[Any], None]) -> None:
    change(given.union)
    with pytest.raises(DefinitionError, match=r"message\.avsc"):
        check(given)


@pytest.mark.parametrize(
    ("branch", "kind"),
    [
        (12, "string"),
        (12, ["null", "string"]),
        (12, {"type": "record", "name": "Lamp", "doc": "A lamp.", "fields": []}),
        (3, {"type": "array", "items": "int"}),
    ],
)
def test_what_the_device_has_no_code_for_is_refused(given: Definitions, branch: int, kind: Any) -> None:
    given.union[branch]["fields"].append({"name": "lamp", "type": kind, "doc": "Light on the rollers."})
    with pytest.raises(DefinitionError) as caught:
        check(given)
    assert all(value in str(caught.value) for value in (".lamp", "device/codec.py"))


@pytest.mark.parametrize("branch", [0, 6])
def test_what_a_greeting_and_its_answer_begin_with_stays_there(given: Definitions, branch: int) -> None:
    given.union[branch]["fields"].insert(1, {"name": "lamp", "type": "int", "doc": "Light."})
    with pytest.raises(DefinitionError) as caught:
        check(given)
    assert all(field in str(caught.value) for field in ("protocol_major", "protocol_minor", "fingerprint"))


def test_the_greeting_keeps_its_branches_and_the_phases_their_numbers() -> None:
    """Hold numbers that old gauges send and archives hold to a second copy: no change of protocol/ may move them."""
    union = json.loads((Path(__file__).parents[2] / "protocol" / "message.avsc").read_text(encoding="utf-8"))
    assert (union[0], union[6]) == ("midspan.Identify", "midspan.Greet")
    assert [phase.name for phase in records.Phase][:10] == [
        "ZERO_BEFORE", "APPROACH", "LIGHT", "DEEPEN", "FULL", "RETURN", "LIGHT_AGAIN", "LIFT", "ZERO_AFTER", "BENCH",
    ]  # fmt: skip
