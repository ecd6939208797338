"""board.json: the default is accepted, a wrong setting is refused by name, any other content by the same error."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest
from device_rig import DEVICE
from hypothesis import given
from hypothesis import strategies as st

import settings  # isort: skip  # the device's, on the path by now

DEFAULT: dict[str, Any] = json.loads((DEVICE / "board.json").read_text(encoding="utf-8"))


def names(value: Any, path: str = "") -> list[str]:
    """Return every setting's full name, groups first."""
    found = [path] if path else []
    if isinstance(value, dict):
        for key, inner in value.items():
            found += names(inner, f"{path}.{key}".lstrip("."))
    return found


NAMES = names(DEFAULT)


def changed(name: str, value: Any = None, drop: bool = False) -> dict[str, Any]:
    """Return the default with a setting changed or left out."""
    made = copy.deepcopy(DEFAULT)
    *groups, key = name.split(".")
    at = made
    for group in groups:
        at = at[group]
    if drop:
        del at[key]
    else:
        at[key] = value
    return made


def refusal(tmp_path: Path, text: str) -> settings.ConfigurationError:
    """Return the refusal of a file with a given text."""
    file = tmp_path / "board.json"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(settings.ConfigurationError) as caught:
        settings.load(str(file))
    assert "\n" not in str(caught.value)
    assert caught.value.number() >= 1
    return caught.value


@pytest.mark.slow
def test_the_default_holds() -> None:
    assert settings.load(str(DEVICE / "board.json")) == DEFAULT


@pytest.mark.parametrize("name", NAMES)
def test_a_missing_setting_is_named(name: str, tmp_path: Path) -> None:
    error = refusal(tmp_path, json.dumps(changed(name, drop=True)))
    first = {part for part in NAMES if part.startswith(name)}  # of a group that is gone, one of its settings
    assert error.args[0] in first
    assert "missing" in str(error)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("value", [True, 1.5, -1, 10**9, "", "x" * 99, [], [1], [1, 2, 3], {}], ids=repr)
def test_a_wrong_value_is_named(name: str, value: Any, tmp_path: Path) -> None:
    if name == "feeder.places_us" and value == []:
        return  # the default
    error = refusal(tmp_path, json.dumps(changed(name, value)))
    assert error.args[0].startswith(name)


def test_an_unknown_setting_is_named(tmp_path: Path) -> None:
    assert "colour" in str(refusal(tmp_path, json.dumps(changed("colour", "red"))))
    error = refusal(tmp_path, json.dumps(changed("press.colour", "red")))
    assert error.args[0] == "press"
    assert "colour" in error.args[1]


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("mark", [9, 0], "inputs.left_end"), ("press.step", 4, "pin 4 is that of"), ("home", [22, 1], "home"),
        ("limits.press_mm_s", 100, "limits.press_mm_s: 40000 steps/s"), ("cell.rate", 40, "cell.rate: an hx711"),
        ("cell.rate", 320, "cell.rate: 320 is not"),
        ("limits.rotate_rpm", 1000, "limits.rotate_rpm: 53333"), ("home", None, "home: null"),
        ("name", "\u00e9" * 17, "name"), ("watchdog_ms", 4999, "watchdog_ms: 4999 is not 0 for none, or 5000 to 8388"),
        ("watchdog_ms", False, "watchdog_ms: false is not 0 for none"),
    ],
)  # fmt: skip
def test_settings_that_do_not_go_together_are_named(name: str, value: Any, said: str, tmp_path: Path) -> None:
    assert said in str(refusal(tmp_path, json.dumps(changed(name, value))))


def test_what_a_part_needs_is_named(tmp_path: Path) -> None:
    other = changed("cell.kind", "nau7802")
    other["cell"]["ready"] = None
    assert "cell.ready" in str(refusal(tmp_path, json.dumps(other)))
    other = changed("line", "uart")
    other["uart"]["tx"] = None
    assert "uart" in str(refusal(tmp_path, json.dumps(other)))


def test_every_setting_has_a_number_of_its_own(tmp_path: Path) -> None:
    numbers = [refusal(tmp_path, json.dumps(changed(name, {"x": 1}))).number() for name in NAMES]
    leaves = [name for name in NAMES if not any(other.startswith(name + ".") for other in NAMES)]
    assert len({numbers[NAMES.index(name)] for name in leaves}) == len(leaves)
    assert settings.ConfigurationError("", "is missing").number() == 1


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=5,
)


@pytest.mark.slow
@given(st.sampled_from(NAMES), VALUES)
def test_whatever_stands_there_is_taken_or_refused_by_name(
    tmp_path_factory: pytest.TempPathFactory, name: str, value: Any
) -> None:
    file = tmp_path_factory.getbasetemp() / "board.json"
    file.write_text(json.dumps(changed(name, value)), encoding="utf-8")
    try:
        settings.load(str(file))
    except settings.ConfigurationError as error:
        assert error.args[0].startswith(name.split(".", maxsplit=1)[0]) or "pin" in error.args[1]  # noqa: PT017


@given(st.binary(max_size=60))
def test_bytes_that_are_no_json_are_refused(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    file = tmp_path_factory.getbasetemp() / "board.json"
    file.write_bytes(data)
    with pytest.raises(settings.ConfigurationError):
        settings.load(str(file))
