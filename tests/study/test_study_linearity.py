"""Bias and linearity against published examples."""

import json

import numpy as np
import pytest
from commands_rig import complaint, midspan
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.errors import ReadingsError
from midspan.study.linearity import Reference, bias_study, linearity_study, simultaneous_t
from places import DATA

STUDIES = json.loads((DATA / "studies.json").read_text(encoding="utf-8"))
LINEAR, TYPE_1, WIDTHS = STUDIES["linearity"], STUDIES["type_1"], STUDIES["linewidth"]
PARTS = [name for name, readings in LINEAR["readings"].items() for _ in readings]
VALUES = [value for readings in LINEAR["readings"].values() for value in readings]
KNOWN = {name: Reference(float(name)) for name in LINEAR["readings"]}


def test_linearity_of_the_manual() -> None:
    """AIAG MSA, 4th ed., linearity example: line, scatter, R squared, t and biases as printed."""
    study = linearity_study(PARTS, VALUES, KNOWN)
    constant, slope = study.line.coefficients
    assert (round(float(constant), 4), round(float(slope), 4)) == (LINEAR["constant"], LINEAR["slope"])
    assert study.line.residual_sd == pytest.approx(LINEAR["scatter"], abs=5e-5)
    assert study.r_squared == pytest.approx(LINEAR["r_squared"], abs=5e-4)
    assert study.t == pytest.approx(LINEAR["t"], abs=5.1e-4)
    assert [study_of_part.bias for study_of_part in study.at] == pytest.approx(LINEAR["bias"], abs=5.1e-7)
    assert np.mean(study.biases) == pytest.approx(LINEAR["mean_bias"], abs=5e-6)
    assert study.worst == ("10", pytest.approx(-0.616667, abs=1e-6))


def test_type_1_study() -> None:
    """Fifty readings of one reference; answers published with the data."""
    study = bias_study(TYPE_1["readings"], TYPE_1["reference"])
    assert study.mean == pytest.approx(TYPE_1["mean"], rel=1e-12)
    assert study.sd == pytest.approx(TYPE_1["sd"], rel=1e-12)
    assert study.bias == pytest.approx(TYPE_1["bias"], rel=1e-12)
    assert study.t == pytest.approx(TYPE_1["t"], rel=1e-12)
    assert study.p == pytest.approx(TYPE_1["p"], rel=1e-10)
    assert [study.bias - study.half_width, study.bias + study.half_width] == pytest.approx(
        TYPE_1["interval"], rel=1e-10
    )
    assert study.cg(TYPE_1["tolerance"]) == pytest.approx(TYPE_1["cg"], abs=0.005)
    assert study.cgk(TYPE_1["tolerance"]) == pytest.approx(TYPE_1["cgk"], abs=0.005)
    assert not study.is_real


@pytest.mark.parametrize("run", STUDIES["paired"]["runs"], ids=["run 1", "run 2"])
def test_paired_differences(run) -> None:
    """e-Handbook, 2.4.5.5: two configurations of a probe differ, in run 1 one way, in run 2 the other."""
    study = bias_study(run["differences"], reference=0.0)
    assert study.number == 29
    assert (round(study.mean, 5), round(study.t, 1)) == (run["mean"], run["t"])
    assert study.sd == pytest.approx(run["sd"], abs=6e-6)
    assert study.is_real


def test_several_check_standards_at_once() -> None:
    """Compare with e-Handbook, 2.3.7: t for three together, and the day on which the line width calibration was out."""
    t = simultaneous_t(3, WIDTHS["dof"])
    assert t == pytest.approx(WIDTHS["t"], abs=5e-7)
    assert simultaneous_t(1, 38) == pytest.approx(2.0244, abs=5e-5)  # table of t, any textbook
    limit = WIDTHS["residual_sd"] * t / WIDTHS["slope"]
    out = [
        [abs((seen - WIDTHS["constant"]) / WIDTHS["slope"] - known) > limit for known, seen in day]
        for day in WIDTHS["days"]
    ]
    assert [all(day) for day in out] == [number == WIDTHS["out_of_control_day"] for number in range(1, 7)]
    assert [any(day) for day in out] == [all(day) for day in out]


@pytest.mark.slow
def test_false_alarms_of_several_references_stay_at_one_in_twenty() -> None:
    """A gauge without bias, five references, ten readings each, two thousand studies."""
    rng = np.random.default_rng(11)
    names = [str(i) for i in range(5) for _ in range(10)]
    known = {str(i): Reference(float(i)) for i in range(5)}
    truth = np.array([float(name) for name in names])
    alarms = sum(
        bool(linearity_study(names, (truth + rng.normal(0, 0.1, 50)).tolist(), known).real_biases())
        for _ in range(2000)
    )
    assert 0.035 < alarms / 2000 < 0.065


def test_a_bias_inside_the_uncertainty_of_the_reference_is_none() -> None:
    readings = [500.30, 500.31, 500.29, 500.30]
    assert bias_study(readings, 500.0).is_real
    assert not bias_study(readings, 500.0, u_reference=0.25).is_real
    known = {name: Reference(reference.value, 1.0) for name, reference in KNOWN.items()}
    assert linearity_study(PARTS, VALUES, KNOWN).real_biases() == ("2", "8", "10")
    assert linearity_study(PARTS, VALUES, known).real_biases() == ()


@pytest.mark.slow
@given(st.floats(0.001, 1000), st.floats(-50, 50), st.randoms(use_true_random=False))
def test_unit_and_order_change_nothing(factor, shift, random) -> None:
    order = list(range(len(VALUES)))
    random.shuffle(order)
    known = {name: Reference(reference.value * factor + shift) for name, reference in KNOWN.items()}
    other = linearity_study([PARTS[i] for i in order], [VALUES[i] * factor + shift for i in order], known)
    plain = linearity_study(PARTS, VALUES, KNOWN)
    assert other.line.coefficients[1] == pytest.approx(plain.line.coefficients[1], rel=1e-6)
    assert {*other.real_biases()} == {*plain.real_biases()}


@pytest.mark.parametrize(
    ("call", "code"),
    [
        (lambda: bias_study([500.0], 500.0), "too_few"),
        (lambda: bias_study([500.0, 500.0], 500.0), "no_scatter"),
        (lambda: linearity_study(PARTS[:24], VALUES[:24], KNOWN), "too_few"),
    ],
)
def test_too_little_to_study_is_refused(call, code) -> None:
    with pytest.raises(ReadingsError) as caught:
        call()
    assert caught.value.code == code


@pytest.fixture
def table(tmp_path):
    """The manual's readings as a CSV with decimal commas."""
    path = tmp_path / "bars.csv"
    rows = [f"{part};{part};{value}".replace(".", ",") for part, value in zip(PARTS, VALUES, strict=True)]
    path.write_text("part;reference;measurement\n# the comma is the decimal mark\n" + "\n".join(rows), encoding="utf-8")
    return path


@pytest.mark.slow
def test_the_commands_print_their_verdicts_and_draw(table, snapshot) -> None:
    done = midspan("study", "linearity", "--csv", table, "--tolerance", "5", "--picture", table.with_suffix(".svg"))
    assert done.stdout.replace(str(table.parent), "FOLDER") == snapshot
    assert "<svg" in table.with_suffix(".svg").read_text(encoding="utf-8")
    drawn = table.with_name("bias.png")
    told = json.loads(midspan("study", "bias", "--csv", table, "--json", "--picture", drawn).stdout)
    assert drawn.stat().st_size > 10_000
    assert told["bias"]["10"]["bias"] == pytest.approx(-0.616667, abs=1e-6)


def test_two_values_for_one_part_are_refused(tmp_path) -> None:
    path = tmp_path / "bars.csv"
    path.write_text("part,reference,value\n1,2,2.1\n1,3,2.2\n", encoding="utf-8")
    said = complaint(midspan("study", "bias", "--csv", path))
    assert [value for value in ("bars.csv", "part 1", "2", "3") if value not in said] == []
