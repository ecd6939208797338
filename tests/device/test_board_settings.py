"""The board's own look at its file: whole, of its version, no pin used twice. The host checks the rest before."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any
from zlib import crc32

import pytest
from device_rig import DEVICE
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.errors import ConfigurationError
from midspan.board.board_file import checked, sealed

import settings  # isort: skip  # the device's, on the path by now

PLAIN: dict[str, Any] = json.loads((DEVICE / "board.json").read_text(encoding="utf-8"))
FEEDER: dict[str, Any] = json.loads((DEVICE / "parts" / "feeder.json").read_text(encoding="utf-8"))
THERMOMETER: dict[str, Any] = json.loads((DEVICE / "parts" / "thermometer.json").read_text(encoding="utf-8"))
FED = PLAIN | {"parts": {"feeder": FEEDER, "thermometer": THERMOMETER}}


def load(tmp_path: Path, content: bytes) -> dict[str, Any]:
    """Return what the device's code reads from a file with this content."""
    file = tmp_path / "board.json"
    file.write_bytes(content)
    return settings.load(str(file))


def refused(tmp_path: Path, content: bytes) -> str:
    """Return what the device's code says against a file with this content."""
    with pytest.raises(settings.ConfigurationError) as caught:
        load(tmp_path, content)
    return str(caught.value)


@pytest.mark.parametrize("whole", [PLAIN, FED], ids=["plain", "with a feeder"])
def test_a_file_is_taken_as_the_host_seals_it_and_as_a_hand_puts_it_there(
    whole: dict[str, Any], tmp_path: Path
) -> None:
    content = json.dumps(whole).encode()
    assert load(tmp_path, content) == load(tmp_path, sealed(content)) == whole


def test_the_seal_is_read_with_any_end_of_line(tmp_path: Path) -> None:
    body = json.dumps(PLAIN).encode() + b"\n"
    for end in (b"", b"\n", b"\r\n"):
        assert load(tmp_path, body + b"#crc32 %08x" % crc32(body) + end) == PLAIN


@given(at=st.integers(0), bit=st.integers(0, 7))
def test_a_damaged_file_is_refused(tmp_path_factory: pytest.TempPathFactory, at: int, bit: int) -> None:
    content = bytearray(sealed(json.dumps(PLAIN).encode()))
    content[at % (content.rindex(b"\n#") + 1)] ^= 1 << bit
    refused(tmp_path_factory.getbasetemp(), bytes(content))


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b"7", b"{}", b'{"version": 1}', b"\xff\xfe"])
def test_what_is_no_file_of_this_version_is_refused(content: bytes, tmp_path: Path) -> None:
    refused(tmp_path, content)
    refused(tmp_path, sealed(content))


def test_a_missing_file_is_named() -> None:
    with pytest.raises(settings.ConfigurationError) as caught:
        settings.load("nowhere.json")
    assert "nowhere.json" in str(caught.value)


SINGLE = {f"{motor}.{wire}" for motor in ("press", "rotate") for wire in ("step", "direction")}
SINGLE |= {
    "uart.tx",
    "uart.rx",
    "cell.data",
    "cell.clock",
    "cell.ready",
    "parts.feeder.selector",
    "parts.thermometer.pin",
}


def pins(section: dict[str, Any], path: str = "") -> list[tuple[str, int]]:
    """Return the name and number of every pin, found by its place in the file as wiring.md lists them."""
    found = []
    for key, value in section.items():
        name = f"{path}.{key}".lstrip(".")
        if isinstance(value, dict):
            found += pins(value, name)
        elif key in ("enable", "home", "mark") or path.endswith("inputs"):
            found.append((name, value[0]))
        elif name in SINGLE or (path.startswith("parts.feeder.") and key == "pin"):
            found.append((name, value))
    return found


PINS = pins(FED)


def test_every_pin_of_the_default_is_another() -> None:
    assert len(PINS) == len({pin for _, pin in PINS}) == 25


@pytest.mark.parametrize("name", [name for name, _ in PINS])
@pytest.mark.parametrize("other", ["press.step", "home", "parts.feeder.gate.pin", "service"])
def test_no_pin_is_used_twice_by_board_and_host(name: str, other: str, tmp_path: Path) -> None:
    taken = dict(PINS) | {"service": 22}
    if name == other:
        return
    made = copy.deepcopy(FED)
    *sections, key = name.split(".")
    at: Any = made
    for section in sections:
        at = at[section]
    at[key] = [taken[other], at[key][1]] if isinstance(at[key], list) else taken[other]
    told = refused(tmp_path, json.dumps(made).encode())
    assert f"pin {taken[other]} " in told
    assert name in told
    with pytest.raises(ConfigurationError):
        checked(json.dumps(made).encode(), "board.json")
