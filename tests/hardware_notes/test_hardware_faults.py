"""Every fault of the protocol has its place in the notes, and the notes point at what is there."""

import json
import re

import pytest
from device_rig import load_cell, records
from places import ROOT

NOTES = ROOT / "hardware_notes"
TEXT = (NOTES / "faults.md").read_text(encoding="utf-8")
CODES = set(re.findall(r'"([A-Z][A-Z_]+)":', (ROOT / "protocol" / "faults.json").read_text(encoding="utf-8")))
PAGES = sorted(NOTES.glob("*.md"))


def test_no_fault_is_missing():
    assert len(CODES) >= 12
    missing = sorted(code for code in CODES if not re.search(rf"(?m)^\| {code} \| .+ \| .+ \|$", TEXT))
    assert not missing, f"say in faults.md how to find {missing}"


def heading_names(page):
    found = re.findall(r"(?m)^#+ (.+)$", page.read_text(encoding="utf-8"))
    return {re.sub(r"[^a-z0-9 -]", "", heading.lower()).replace(" ", "-") for heading in found}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page):
    for target in re.findall(r"\]\(([^)#]*)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
        assert target == "" or (page.parent / target).exists(), f"{page.name}: {target}"
    for target, heading in re.findall(r"\]\(([^)#]*\.md)#([^)]*)\)", page.read_text(encoding="utf-8")):
        assert heading in heading_names(page.parent / target), f"{page.name}: {target}#{heading}"


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_settings_that_the_notes_name_are_in_the_boards_file(page):
    given = json.loads((ROOT / "device" / "board.json").read_text(encoding="utf-8"))
    feeder = json.loads((ROOT / "device" / "parts" / "feeder.json").read_text(encoding="utf-8"))
    given["parts"]["feeder"] = feeder
    sections = {name for name, value in given.items() if isinstance(value, dict)}
    for section, key in re.findall(r"`(\w+)\.(\w+)(?:=\S+)?`", page.read_text(encoding="utf-8")):
        if section in sections:
            assert key in given[section], f"{page.name}: {section}.{key}"


def test_a_hung_board_starts_anew_as_often_as_its_file_says():
    given = json.loads((ROOT / "device" / "board.json").read_text(encoding="utf-8"))
    assert 1000 * int(re.search(r"starts anew every (\d+) s", TEXT)[1]) == given["watchdog_ms"]


def test_what_stands_in_for_the_parts_is_told_as_the_code_takes_it():
    text = (NOTES / "wiring.md").read_text(encoding="utf-8")
    interval_us = 1000000 // int(re.search(r"ready, (\d+) times a second", text)[1])
    equal = int(re.search(r"(\d+) equal counts", text)[1])
    cell = load_cell.LoadCell(interval_us, 0)
    said = []
    for number in range(1, equal + 1):
        cell.take(number * interval_us, 50000, 1)
        said.append(cell.fault)
    assert [fault is None for fault in said] == [True] * (equal - 1) + [False]
    assert records.FAULT_CODES[said[-1]] == "CELL_STUCK"
    cell.clear(0)
    cell.watch(1000000 // int(re.search(r"At (\d+) words a\s+second", text)[1]) - 1)
    assert records.FAULT_CODES[cell.fault] == "CELL_SILENT"


def test_the_udev_rules_are_well_formed_and_keep_other_programs_away():
    """Form of a rule: udev(7). Both properties, for a port and for a device: ModemManager's documentation."""
    page = (NOTES / "bring_up.md").read_text(encoding="utf-8")
    rules = [line for line in page.splitlines() if line.startswith("SUBSYSTEM==")]
    assert len(rules) == 2
    for rule, kind, property_name in zip(
        rules, ("tty", "usb"), ("ID_MM_PORT_IGNORE", "ID_MM_DEVICE_IGNORE"), strict=True
    ):
        assert all(re.fullmatch(r'[A-Z]+(\{[\w/]+\})?(==|=|\+=)"[^"]*"', part) for part in rule.split(", ")), rule
        assert rule.startswith(f'SUBSYSTEM=="{kind}", ')
        assert f'ENV{{{property_name}}}="1"' in rule
