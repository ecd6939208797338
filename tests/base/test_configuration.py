"""Configuration files: any value in the place of a number is used as it is, or refused in one line."""

import math
from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from midspan.base.errors import ConfigurationError
from midspan.decision.bands import load_bands
from midspan.hand_bench.bench import load_bench
from midspan.hand_bench.masses import load_masses
from midspan.measurement.calibration import Calibration, load_calibration
from midspan.measurement.result import Unmeasured, evaluate
from synthetic import Gauge, Shaft, raw_run

GAUGE = {
    "calibration": {"id": "a", "gauge": "bench", "temperature_c": 20.0},
    "force": {"newton_per_count": 9.2e-6, "newton_per_count2": 3e-15, "u_scale": 2.5e-4, "u_linearity_n": 5e-4,
              "dof_scale": 8.0, "dof_linearity": 8.0},
    "travel": {"mm_per_step": 0.0025, "u_scale": 1.5e-4, "steps_per_screw_turn": 3200.0, "screw_cos_mm": 0.001,
               "screw_sin_mm": -0.002, "u_screw_mm": 8e-4, "dof_scale": 8.0, "dof_screw": 40.0, "clearance_mm": 6.5},
    "frame": {"give_mm_per_n": 0.01, "u_give_mm_per_n": 2.5e-4, "dof_give": 16.0},
    "span": {"span_mm": 711.2, "u_span_mm": 0.05, "dof_span": 4.0, "vertical_share": [0.0, 1.0]},
    "rotation": {"steps_per_turn": 800.0, "u_relative": 0.01},
}  # fmt: skip
BANDS = {
    "rule": {"guard": 1.0, "coverage_factor": 2.0},
    "bin": [{"name": "a", "spine_thou": [495.0, 505.0], "spread_max_thou": 5.0, "runout_max_thou": 12.0,
             "hysteresis_max_pct": 1.0}],
}  # fmt: skip
MASSES = {"mass": [{"name": "a", "mass_g": 200.0, "u_mass_g": 0.01, "density_kg_m3": 8000.0, "u_density_kg_m3": 100.0}]}
BENCH = {
    "bench": {"id": "school"},
    "weight": {"mass_g": 880.0, "u_mass_g": 0.3, "density": 7950.0, "hook_g": 1.0},
    "place": {"latitude_deg": 47.0, "height_m": 400.0, "u_gravity_m_s2": 5e-4},
    "span": {"span_mm": 711.2, "u_span_mm": 0.1},
    "indicator": {"graduation": 0.01, "u_error_mm": 0.004, "tilt_deg": 1.0, "force_n": 0.5, "force_change_n": -0.1,
                  "u_force_change_n": 0.01},
    "frame": {"give_mm_per_n": 1e-4, "u_give_mm_per_n": 2e-4, "off_centre_mm": 1.0},
}  # fmt: skip
FILES: dict[str, tuple[Callable[[Path], Any], dict[str, Any]]] = {
    "gauge.toml": (load_calibration, GAUGE), "bands.toml": (load_bands, BANDS), "masses.toml": (load_masses, MASSES),
    "hand-bench.toml": (load_bench, BENCH),
}  # fmt: skip
# Values as written in TOML that none of these quantities can have.
NEVER = ("nan", "-inf", "-1e200", '"1.5"', '"1,5"', "true", "false", "[1.0]", "{}")


@dataclass(frozen=True)
class Place:
    """Place of a number in a file: the keys and array indices that lead to it."""

    file: str
    way: tuple[str | int, ...]

    def __str__(self) -> str:
        return ".".join(map(str, self.way))


def numbers(file: str, content: Any, way: tuple[str | int, ...] = ()) -> list[Place]:
    """Return the places of all numbers in a file."""
    if isinstance(content, dict | list):
        parts = content.items() if isinstance(content, dict) else enumerate(content)
        return [place for key, value in parts for place in numbers(file, value, (*way, key))]
    return [Place(file, way)] if isinstance(content, float) else []


NUMBERS = [place for file, (_, content) in FILES.items() for place in numbers(file, content)]
# Degrees of freedom may be infinite: the value is then perfectly known.
BOUNDED = [place for place in NUMBERS if not str(place.way[-1]).startswith("dof_")]


def key_of(place: Place) -> str:
    """Return the key of a number, or that of the array it is in."""
    return [part for part in place.way if isinstance(part, str)][-1]


class Raw(str):
    """A value as it is written in TOML."""


def written(value: Any) -> str:
    """Return a value as TOML."""
    if isinstance(value, Raw):
        return value
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {written(inner)}" for key, inner in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(written, value)) + "]"
    return f'"{value}"' if isinstance(value, str) else repr(value)


def refusal(folder: Path, place: Place, absurd: str) -> str:
    """Return the message that refuses a file with an absurd value in a place, without the name of the file."""
    load, content = FILES[place.file]
    changed = deepcopy(content)
    inner: Any = changed
    for key in place.way[:-1]:
        inner = inner[key]
    inner[place.way[-1]] = Raw(absurd)
    path = folder / place.file
    path.write_text("\n".join(f"{key} = {written(value)}" for key, value in changed.items()))
    with pytest.raises(ConfigurationError) as caught:
        load(path)
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith(f"{path}: ")
    return str(caught.value).removeprefix(f"{path}: ")


@pytest.mark.parametrize("file", FILES)
def test_the_unchanged_files_are_accepted(tmp_path, file):
    load, content = FILES[file]
    path = tmp_path / file
    path.write_text("\n".join(f"{key} = {written(value)}" for key, value in content.items()))
    load(path)


@pytest.mark.parametrize("absurd", NEVER)
@pytest.mark.parametrize("place", NUMBERS, ids=str)
def test_an_impossible_value_is_refused_by_its_key(tmp_path, place, absurd):
    assert key_of(place) in refusal(tmp_path, place, absurd)


@pytest.mark.parametrize("absurd", ["inf", "1e200"])
@pytest.mark.parametrize("place", BOUNDED, ids=str)
def test_an_infinite_or_huge_value_is_refused_by_its_key(tmp_path, place, absurd):
    assert key_of(place) in refusal(tmp_path, place, absurd)


# Uncertainties, corrections and shares may be as small as they like; measured quantities may not.
@pytest.mark.parametrize(
    "place",
    [place for place in NUMBERS if place.way[-1] in
     ("newton_per_count", "mm_per_step", "steps_per_screw_turn", "span_mm", "steps_per_turn", "u_relative", "mass_g",
      "density_kg_m3", "density", "graduation", "coverage_factor", "spread_max_thou", "runout_max_thou",
      "hysteresis_max_pct") or "spine_thou" in place.way or str(place.way[-1]).startswith("dof_")],
    ids=str,
)  # fmt: skip
@pytest.mark.parametrize("absurd", ["0", "1e-300", "-1"])
def test_a_measured_quantity_cannot_be_minute(tmp_path, place, absurd):
    assert key_of(place) in refusal(tmp_path, place, absurd)


@pytest.mark.parametrize(
    ("file", "way", "absurd", "named"),
    [
        ("gauge.toml", ("travel", "steps_per_screw_turn"), "20.0", "0.05 mm"),
        ("gauge.toml", ("travel", "steps_per_screw_turn"), "51200.0", "128 mm"),
        ("gauge.toml", ("force", "newton_per_count2"), "1e-11", "force.newton_per_count2 = 1e-11"),
        ("gauge.toml", ("force", "newton_per_count2"), "-1e-11", "force.newton_per_count2 = -1e-11"),
        ("gauge.toml", ("span", "vertical_share"), "[1.0, 0.0]", "span.vertical_share"),
        ("gauge.toml", ("calibration", "made"), '"2026-03-01"', "calibration.made"),
        ("gauge.toml", ("calibration", "id"), "7", "calibration.id"),
        ("bands.toml", ("bin", 0, "spine_thou"), "5.0", "bin, entry 1, spine_thou = 5.0: "),
        ("masses.toml", ("mass", 0), "7", "mass, entry 1 = 7: "),
        ("masses.toml", ("mass", 0, "u_mass_g"), "50.0", "milligrams"),
        ("hand-bench.toml", ("weight", "u_mass_g"), "300", "milligrams"),
        ("hand-bench.toml", ("indicator", "graduation"), "10", "graduation"),
    ],
)
def test_values_that_contradict_each_other_are_refused_by_name(tmp_path, file, way, absurd, named):
    assert named in refusal(tmp_path, Place(file, way), absurd)


def test_two_masses_of_one_name_are_refused(tmp_path):
    # A stack of masses would leave one of the two out.
    path = tmp_path / "masses.toml"
    path.write_text('[[mass]]\nname = "a"\nmass_g = 200\nu_mass_g = 0.01\n' * 2)
    with pytest.raises(ConfigurationError) as caught:
        load_masses(path)
    assert all(value in str(caught.value) for value in ("masses.toml", "mass 'a'"))


def test_a_calibration_that_ended_before_it_began_is_refused(tmp_path):
    path = tmp_path / "gauge.toml"
    path.write_text("\n".join(f"{key} = {written(value)}" for key, value in GAUGE.items()).replace(
        "id = ", "made = 2026-03-02, valid_until = 2026-03-01, id = ", 1))  # fmt: skip
    with pytest.raises(ConfigurationError) as caught:
        load_calibration(path)
    assert all(value in str(caught.value) for value in ("gauge.toml", "valid_until", "2026-03-01", "2026-03-02"))


# No file that is accepted may turn good readings into nonsense: a result has finite numbers, or reasons instead. Each
# value is moved by some powers of ten, as a typing error or a wrong unit would move it.
MOVED = [place for place in NUMBERS if place.file == "gauge.toml" and "vertical_share" not in place.way]
RUN = raw_run(Shaft(), Gauge(), np.random.default_rng(1))


@pytest.mark.slow
@settings(max_examples=200)
@given(st.dictionaries(st.sampled_from(MOVED), st.floats(-12, 12), min_size=1, max_size=3))
def test_every_accepted_calibration_gives_finite_numbers_or_reasons(moves):
    changed = deepcopy(GAUGE)
    for place, decades in moves.items():
        section, key = place.way
        changed[section][key] *= 10.0**decades
    try:
        calibration = Calibration.model_validate(changed)
    except ValueError:
        return
    (result,) = evaluate([RUN], calibration)
    assert calibration.counts_for(8.6) > 0
    if isinstance(result, Unmeasured):
        assert result.reasons
    else:
        assert math.isfinite(result.spine_thou)
        assert 0 < result.u_spine_thou < math.inf
