"""The board's file: the default holds, a wrong setting is refused by its name, and a damaged file by its seal."""

import copy
import json
import math
import zlib

import pytest
from commands_rig import complaint, midspan
from midspan.base.errors import ConfigurationError
from midspan.board.board_file import BoardFile, checked, down_mm_s, sealed, unsealed
from places import ROOT

DEVICE = ROOT / "device"
PLAIN = json.loads((DEVICE / "board.json").read_text(encoding="utf-8"))
FEEDER = json.loads((DEVICE / "parts" / "feeder.json").read_text(encoding="utf-8"))
THERMOMETER = json.loads((DEVICE / "parts" / "thermometer.json").read_text(encoding="utf-8"))
FED = PLAIN | {"parts": {"feeder": FEEDER, "thermometer": THERMOMETER}}
WHERE = "mine.json"


def names(value, path=""):
    """Return every setting's full name, sections first."""
    found = [path] if path else []
    if isinstance(value, dict):
        for key, inner in value.items():
            found += names(inner, f"{path}.{key}".lstrip("."))
    return found


NAMES = names(FED)


def changed(drop=False, **changes):
    """Return the file with a feeder after changes (limits__count=5), or without those settings."""
    made = copy.deepcopy(FED)
    for name, value in changes.items():
        *sections, key = name.split("__")
        at = made
        for section in sections:
            at = at[section]
        if drop:
            del at[key]
        else:
            at[key] = value
    return json.dumps(made).encode()


def refusal(content):
    with pytest.raises(ConfigurationError) as caught:
        checked(content, WHERE)
    assert str(caught.value).startswith(f"{WHERE}: ")
    return caught.value


@pytest.mark.parametrize("given", [PLAIN, FED], ids=["plain", "with all parts"])
def test_the_default_holds_sealed_or_not(given):
    content = json.dumps(given).encode()
    assert checked(content, WHERE) == checked(sealed(content), WHERE) == given


@pytest.mark.parametrize("name", [name for name in NAMES if name not in ("parts.feeder", "parts.thermometer")])
def test_a_missing_setting_is_named(name):
    assert name in str(refusal(changed(drop=True, **{name.replace(".", "__"): None})))


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("value", [True, 1.5, -1, 10**9, "", "x" * 99, [], [1], [1, 2, 3], {}], ids=repr)
def test_a_wrong_value_is_named(name, value):
    if (name, value) == ("parts", {}):
        return  # a plain gauge
    assert name.split(".")[0] in str(refusal(changed(**{name.replace(".", "__"): value})))


@pytest.mark.parametrize("name", ["colour", "press.colour", "parts.colour", "parts.feeder.gate.colour"])
def test_an_unknown_setting_is_named(name):
    assert name in str(refusal(changed(**{name.replace(".", "__"): 1})))


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"version": 1}, ["version"]),
        ({"mark": [9, 0]}, ["mark", "parts.feeder.inputs.left_end", "9"]),
        ({"press__step": 7}, ["press.step", "home", "7"]),
        ({"home": [22, 1]}, ["home", "22"]),
        ({"uart__tx": 23}, ["uart.tx", "23"]),
        ({"limits__press_mm_s": 100}, ["limits.press_mm_s", "40000"]),
        ({"limits__home_mm_s": 82}, ["limits.home_mm_s", "32800"]),
        ({"limits__rotate_rpm": 1000}, ["limits.rotate_rpm", "53333"]),
        ({"limits__rotate_rpm": 1, "gear__rotate_steps_per_turn": 59}, ["limits.rotate_rpm"]),
        ({"limits__rotate_rpm_s": 1, "gear__rotate_steps_per_turn": 59}, ["limits.rotate_rpm"]),
        ({"cell__rate": 40}, ["cell.rate", "40", "hx711"]),
        ({"cell__kind": "nau7802", "watchdog_ms": 0, "cell__ready": None}, ["cell.ready"]),
        ({"cell__kind": "nau7802", "watchdog_ms": 0, "cell__clock": 28}, ["cell.clock", "28"]),
        ({"cell__kind": "nau7802"}, ["watchdog_ms", "3000"]),
        ({"watchdog_ms": 999}, ["watchdog_ms", "999"]),
        ({"watchdog_ms": 8389}, ["watchdog_ms", "8389"]),
        ({"line": "uart", "uart__tx": None}, ["uart.tx"]),
        ({"line": "uart", "uart__rx": 28}, ["uart.rx", "28"]),
        ({"home": None}, ["home"]),
        ({"name": "\u00e9" * 17}, ["name"]),
        ({"name": "north\nbench"}, ["name"]),
        ({"name": "\ud800"}, ["name"]),
        ({"parts__feeder__selector": 2, "press__step": 21}, ["parts.feeder.selector", "18"]),
        ({"parts__thermometer__pin": 8, "mark": None}, ["parts.thermometer.pin", "8", "26"]),
        ({"parts__thermometer__pin": 26}, ["inputs.stop", "parts.thermometer.pin", "26"]),
        ({"parts__thermometer__ohm_25": 1000, "parts__thermometer__pull_up_ohm": 10_001}, ["10001", "1000"]),
        ({"parts__thermometer__beta_k": 2499}, ["parts.thermometer.beta_k"]),
        ({"parts__feeder__places_us": []}, ["parts.feeder.places_us"]),
        ({"parts__feeder__places_us": [1000, 399]}, ["parts.feeder.places_us", "399"]),
    ],
)
def test_what_does_not_go_together_is_named_with_its_numbers(change, named):
    told = str(refusal(changed(**change)))
    assert all(words in told for words in named)


def test_a_watchdog_may_be_absent_or_as_short_as_the_converter_lets_it():
    for value in (0, 1000, 8388):
        assert checked(changed(watchdog_ms=value), WHERE)["watchdog_ms"] == value
    assert checked(changed(watchdog_ms=5000, cell__kind="nau7802", cell__rate=40), WHERE)["cell"]["rate"] == 40


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b"\xff\xfe", b"7", b"[" * 100_000])
def test_what_is_no_object_is_refused(content):
    refusal(content)


def test_the_seal_is_the_crc_32_of_all_before_its_line():
    whole = sealed(b'{"a": 1}\n\n')
    body, last = whole[: whole.rindex(b"#")], whole[whole.rindex(b"#") :]
    assert body == b'{"a": 1}\n'
    assert last == b"#crc32 %08x\n" % zlib.crc32(body)
    assert sealed(whole) == whole


def test_a_bit_that_fell_over_breaks_the_seal():
    whole = sealed((DEVICE / "board.json").read_bytes())
    for at in range(0, len(whole) - 1, 37):  # not the line's end
        damaged = bytearray(whole)
        damaged[at] ^= 1
        with pytest.raises(ConfigurationError) as caught:
            unsealed(bytes(damaged), WHERE)
        assert at >= len(whole) - 17 or caught.value.code == "seal"


def bound_mm_s(given):
    """Return the speed of the formula in SPEC.md, from the positive root of its quadratic; no code is shared."""
    limits, cell = given["limits"], given["cell"]
    late_s = (2 + cell["filter"] / 2) / cell["rate"] + 0.010
    room_mm = (limits["bears_count"] - limits["count"]) / limits["count_per_mm"]
    a = limits["press_mm_s2"]
    return min(limits["press_mm_s"], a * (math.sqrt(late_s**2 + 2 * room_mm / a) - late_s))


@pytest.mark.parametrize(
    "change",
    [
        {}, {"limits__count_per_mm": 3_000_000}, {"limits__bears_count": 5_000_000}, {"cell__filter": 1},
        {"cell__rate": 10}, {"limits__press_mm_s2": 100}, {"limits__press_mm_s": 7}, {"limits__count_per_mm": 1500},
    ],
)  # fmt: skip
def test_the_speed_downwards_is_the_formulas_rounded_down(change):
    given = checked(changed(**change), WHERE)
    found = down_mm_s(BoardFile.model_validate(given))
    assert found <= bound_mm_s(given)
    assert found >= min(given["limits"]["press_mm_s"], math.floor(0.99 * bound_mm_s(given)))


def test_a_cell_that_bears_no_press_is_refused_with_the_count_it_would_see():
    told = str(refusal(changed(limits__bears_count=1_800_000)))
    assert "limits.bears_count" in told
    # 61 ms and the ramp at 1 mm/s on 11 million counts a millimetre, beside the limit of 1.7 million
    assert "2382000" in told


@pytest.mark.process
def test_the_command_checks_a_file_without_a_board(tmp_path):
    done = midspan("board", "config", "--check", DEVICE / "board.json")
    assert (done.returncode, done.stdout.count(" 15 mm/s")) == (0, 1)
    wrong = tmp_path / "wrong.json"
    wrong.write_bytes(changed(press__step=7))
    told = complaint(midspan("board", "config", "--check", wrong))
    assert "wrong.json" in told
    assert "press.step" in told
    assert midspan("board", "config").returncode != 0
