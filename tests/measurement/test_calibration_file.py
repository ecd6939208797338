"""The calibration file: read whole, or refused in a single line that begins with file and key."""

from copy import deepcopy
from errno import ENOENT
from os import strerror
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.errors import ConfigurationError
from midspan.measurement.calibration import EXAMPLE, Calibration, load_calibration

WHOLE = """
[calibration]
id = "spring, new cell"
gauge = "bench"
temperature_c = 21.5

[force]
newton_per_count = 9.2e-6
newton_per_count2 = 3.0e-15
u_scale = 2.5e-4
u_linearity_n = 5e-4

[travel]
mm_per_step = 0.0025
u_scale = 1.5e-4
steps_per_screw_turn = 3200
screw_cos_mm = 0.001
screw_sin_mm = -0.002
u_screw_mm = 0.0008

[frame]
give_mm_per_n = 0.01
u_give_mm_per_n = 2.5e-4

[span]
span_mm = 711.2
u_span_mm = 0.05

[rotation]
steps_per_turn = 800
u_relative = 0.01
"""


@pytest.fixture
def write(tmp_path):
    """Return a function that writes a calibration file and returns its path."""

    def write_text(text: str) -> Path:
        path = tmp_path / "gauge.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write_text


def refusal(path: Path) -> str:
    """Return the message that refuses a file, without the file's name in front."""
    with pytest.raises(ConfigurationError) as caught:
        load_calibration(path)
    message = str(caught.value)
    assert message.startswith(f"{path}: ")
    assert "\n" not in message
    return message.removeprefix(f"{path}: ")


def test_a_whole_file_keeps_every_value(write):
    cal = load_calibration(write(WHOLE))
    assert cal.calibration.id == "spring, new cell"
    assert (cal.calibration.gauge, cal.calibration.temperature_c) == ("bench", 21.5)
    assert (cal.force.newton_per_count, cal.force.newton_per_count2) == (9.2e-6, 3.0e-15)
    assert (cal.force.u_scale, cal.force.u_linearity_n) == (2.5e-4, 5e-4)
    assert (cal.travel.mm_per_step, cal.travel.u_scale, cal.travel.steps_per_screw_turn) == (0.0025, 1.5e-4, 3200)
    assert (cal.travel.screw_cos_mm, cal.travel.screw_sin_mm, cal.travel.u_screw_mm) == (0.001, -0.002, 0.0008)
    assert (cal.frame.give_mm_per_n, cal.frame.u_give_mm_per_n) == (0.01, 2.5e-4)
    assert (cal.span.span_mm, cal.span.u_span_mm) == (711.2, 0.05)
    assert (cal.rotation.steps_per_turn, cal.rotation.u_relative) == (800, 0.01)


def test_a_calibration_written_out_reads_back_the_same(write):
    cal = load_calibration(write(WHOLE))
    lines = []
    for section, values in cal.model_dump(exclude_unset=True).items():
        lines += [f"[{section}]", *(f"{key} = {value!r}" for key, value in values.items())]
    assert load_calibration(write("\n".join(lines).replace("'", '"'))) == cal


def test_optional_keys_default_to_no_correction(write):
    optional = ("newton_per_count2", "screw_cos_mm", "screw_sin_mm")
    text = "\n".join(line for line in WHOLE.splitlines() if not line.startswith(optional))
    cal = load_calibration(write(text))
    assert (cal.force.newton_per_count2, cal.travel.screw_cos_mm, cal.travel.screw_sin_mm) == (0.0, 0.0, 0.0)


OPTIONAL = (
    "travel.clearance_mm", "travel.tilt_deg",
    "span.u_axial_friction", "span.rim_mm", "span.u_rim_mm", "span.sink_mm_per_n", "span.u_sink_mm_per_n",
)  # fmt: skip
REQUIRED = [
    f"{section}.{key}" for section, values in EXAMPLE.items() for key in values if f"{section}.{key}" not in OPTIONAL
]


@pytest.mark.parametrize("place", REQUIRED)
def test_a_missing_key_is_named(place, write):
    section, key = place.split(".")
    before, name, after = WHOLE.partition(f"[{section}]")
    lines = after.splitlines(keepends=True)
    first = next(i for i, line in enumerate(lines) if line.startswith(f"{key} "))
    text = before + name + "".join(lines[:first] + lines[first + 1 :])
    assert refusal(write(text)).split()[0] == place


def test_a_missing_section_is_named(write):
    text = WHOLE[: WHOLE.index("[rotation]")]
    assert refusal(write(text)).split()[0] == "rotation"


@pytest.mark.parametrize(
    ("right", "wrong", "place"),
    [
        ("steps_per_turn", "steps_per_trun", "rotation.steps_per_trun"),
        ("u_span_mm", "u_spam_mm", "span.u_spam_mm"),
        ("frame", "fram", "fram"),
        ("newton_per_count2", "newton_per_count_2", "force.newton_per_count_2"),
    ],
)
def test_a_misspelt_key_is_named_with_the_right_spelling(right, wrong, place, write):
    # The reader sees the wrong spelling in the file; the missing key follows from it.
    message = refusal(write(WHOLE.replace(right, wrong, 1)))
    assert message.split()[0] == place
    assert f" {right}?" in message


def test_an_unknown_key_is_named(write):
    message = refusal(write(WHOLE.replace("[span]", "[span]\nzzz = 1")))
    assert message.split()[0] == "span.zzz"
    assert "?" not in message


@pytest.mark.parametrize(
    ("right", "absurd", "place"),
    [
        ("newton_per_count = 9.2e-6", "newton_per_count = -9.2e-6", "force.newton_per_count"),
        ("newton_per_count = 9.2e-6", "newton_per_count = 0", "force.newton_per_count"),
        ("newton_per_count = 9.2e-6", "newton_per_count = 9.2", "force.newton_per_count"),
        ("newton_per_count = 9.2e-6", "newton_per_count = nan", "force.newton_per_count"),
        ("newton_per_count2 = 3.0e-15", "newton_per_count2 = nan", "force.newton_per_count2"),
        ("u_linearity_n = 5e-4", "u_linearity_n = -5e-4", "force.u_linearity_n"),
        ("u_linearity_n = 5e-4", "u_linearity_n = inf", "force.u_linearity_n"),
        ("mm_per_step = 0.0025", "mm_per_step = 2.5", "travel.mm_per_step"),
        ("steps_per_screw_turn = 3200", "steps_per_screw_turn = 0", "travel.steps_per_screw_turn"),
        ("screw_cos_mm = 0.001", "screw_cos_mm = nan", "travel.screw_cos_mm"),
        ("give_mm_per_n = 0.01", "give_mm_per_n = -0.01", "frame.give_mm_per_n"),
        ("give_mm_per_n = 0.01", "give_mm_per_n = 1e9", "frame.give_mm_per_n"),
        ("span_mm = 711.2", "span_mm = 28", "span.span_mm"),
        ("span_mm = 711.2", 'span_mm = "wide"', "span.span_mm"),
        ("u_span_mm = 0.05", "u_span_mm = inf", "span.u_span_mm"),
        ("steps_per_turn = 800", "steps_per_turn = inf", "rotation.steps_per_turn"),
        ("steps_per_turn = 800", "steps_per_turn = 1", "rotation.steps_per_turn"),
        ("u_relative = 0.01", "u_relative = 0", "rotation.u_relative"),
        ("temperature_c = 21.5", "temperature_c = 451", "calibration.temperature_c"),
        ("temperature_c = 21.5", "temperature_c = nan", "calibration.temperature_c"),
        ('gauge = "bench"', 'gauge = ""', "calibration.gauge"),
        ('gauge = "bench"', "gauge = 7", "calibration.gauge"),
    ],
)
def test_an_absurd_value_is_named(right, absurd, place, write):
    assert right in WHOLE
    assert refusal(write(WHOLE.replace(right, absurd, 1))).startswith(f"{place} = ")


def test_a_screw_error_that_no_screw_has_is_refused(write):
    # Each part is within its limit, their root sum of squares (0.113) is not.
    text = WHOLE.replace("screw_cos_mm = 0.001", "screw_cos_mm = 0.08")
    message = refusal(write(text.replace("screw_sin_mm = -0.002", "screw_sin_mm = -0.08")))
    assert message.startswith("travel: ")
    assert "0.113 mm" in message


def test_several_mistakes_are_counted(write):
    text = WHOLE.replace("u_span_mm = 0.05", "u_span_mm = -1").replace("u_relative = 0.01", "u_relative = 5")
    assert refusal(write(text)).count(" 1 more") == 1


def test_a_file_in_another_form_is_refused(write, tmp_path):
    assert "line 1" in refusal(write("span_mm: 711.2\n"))
    binary = tmp_path / "readings.avro"
    binary.write_bytes(b"Obj\x01\xff\xfe\x00")
    assert "UTF-8" in refusal(binary)


def test_a_missing_file_is_named(tmp_path):
    assert strerror(ENOENT) in refusal(tmp_path / "nowhere.toml")
    assert refusal(tmp_path)


# Forces and travels


def changed(**force: float) -> Calibration:
    """Return the example with other force coefficients."""
    values = deepcopy(EXAMPLE)
    values["force"] |= force
    return Calibration.model_validate(values)


@given(st.floats(0.0, 20.0), st.floats(1e-6, 1e-4), st.floats(-0.02, 0.02))
def test_counts_for_a_force_give_that_force_back(force_n, newton_per_count, bend):
    # `bend` is the share of the second-order term at 20 N.
    cal = changed(newton_per_count=newton_per_count, newton_per_count2=bend * newton_per_count**2 / 20.0)
    counts = cal.counts_for(force_n)
    assert abs(float(cal.force_n(np.array(float(counts)))) - force_n) <= 0.51 * float(
        cal.newtons_per_count(np.array(float(counts)))
    )


@given(st.integers(0, 2**23 - 1), st.floats(-0.02, 0.02))
def test_the_force_of_a_count_gives_that_count_back(counts, bend):
    cal = changed(newton_per_count=2.0e-6, newton_per_count2=bend * 2.0e-6**2 / 20.0)
    assert cal.counts_for(float(cal.force_n(np.array(float(counts))))) == counts


@given(st.integers(-(10**5), 2**23), st.floats(-0.02, 0.02))
def test_newtons_per_count_is_the_slope_of_the_force(counts, bend):
    cal = changed(newton_per_count2=bend * 9.2e-6**2 / 20.0)
    either_side = cal.force_n(np.array([counts - 1000.0, counts + 1000.0]))
    slope = float(cal.newtons_per_count(np.array(float(counts))))
    assert (either_side[1] - either_side[0]) / 2000 == pytest.approx(slope, rel=1e-9)


def test_travel_is_the_scale_plus_what_repeats_with_the_screw():
    values = deepcopy(EXAMPLE)
    values["travel"] |= {"screw_cos_mm": 0.003, "screw_sin_mm": 0.004}
    cal = Calibration.model_validate(values)
    turn = values["travel"]["steps_per_screw_turn"]
    quarters = turn * np.array([0.0, 0.25, 0.5, 0.75, 1.0])
    error = cal.travel_mm(quarters) - quarters * values["travel"]["mm_per_step"]
    assert error == pytest.approx([0.003, 0.004, -0.003, -0.004, 0.003], abs=1e-12)
