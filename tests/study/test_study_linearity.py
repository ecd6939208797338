"""Bias and linearity against published examples."""

import json

import numpy as np
import pytest
from commands_rig import complaint, midspan
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.errors import ReadingsError
from midspan.study.linearity import ALPHA, Reference, bias_study, linearity_study, simultaneous_t
from places import DATA

STUDIES = json.loads((DATA / "studies.json").read_text(encoding="utf-8"))
LINEAR, TYPE_1, WIDTHS = STUDIES["linearity"], STUDIES["type_1"], STUDIES["linewidth"]
PARTS = [name for name, readings in LINEAR["readings"].items() for _ in readings]
VALUES = [value for readings in LINEAR["readings"].values() for value in readings]
KNOWN = {name: Reference(float(name)) for name in LINEAR["readings"]}


def answer(folder, command, rows, *options):
    """Return what `midspan study COMMAND --json` says of these lines of a table."""
    (folder / "bars.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    done = midspan("study", command, "--csv", "bars.csv", "--json", *options, folder=folder)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_linearity_of_the_manual(tmp_path) -> None:
    """AIAG MSA, 4th ed., linearity example, through the command: line, scatter, R squared, t and biases as printed."""
    rows = [f"{part},{part},{value}" for part, value in zip(PARTS, VALUES, strict=True)]
    told = answer(tmp_path, "linearity", ["part,reference,value", *rows])
    assert (round(told["constant"], 4), round(told["slope"], 4)) == (LINEAR["constant"], LINEAR["slope"])
    assert told["scatter"] == pytest.approx(LINEAR["scatter"], abs=5e-5)
    assert told["r_squared"] == pytest.approx(LINEAR["r_squared"], abs=5e-4)
    assert told["t"] == pytest.approx(LINEAR["t"], abs=5.1e-4)
    assert list(told["bias"].values()) == pytest.approx(LINEAR["bias"], abs=5.1e-7)
    assert np.mean(list(told["bias"].values())) == pytest.approx(LINEAR["mean_bias"], abs=5e-6)
    assert told["real_biases"] == ["2", "8", "10"]


def test_type_1_study(tmp_path) -> None:
    """Fifty readings of one reference, through the command; answers published with the data."""
    rows = [f"part,{TYPE_1['reference']},{value}" for value in TYPE_1["readings"]]
    told = answer(tmp_path, "bias", ["part,reference,value", *rows], "--tolerance", TYPE_1["tolerance"])["bias"]["part"]
    for name in ("mean", "sd", "bias", "t", "p"):
        assert told[name] == pytest.approx(TYPE_1[name], rel=1e-10), name
    ends = told["bias"] - told["half_width"], told["bias"] + told["half_width"]
    assert ends == pytest.approx(TYPE_1["interval"], rel=1e-10)
    assert (told["cg"], told["cgk"]) == pytest.approx((TYPE_1["cg"], TYPE_1["cgk"]), abs=0.005)
    assert told["cgk_bounds"][0] < TYPE_1["cgk"] < told["cgk_bounds"][1]
    assert told["is_real"] is False


@pytest.mark.parametrize("run", STUDIES["paired"]["runs"], ids=["run 1", "run 2"])
def test_paired_differences(run, tmp_path) -> None:
    """e-Handbook, 2.4.5.5: two configurations of a probe differ, in run 1 one way, in run 2 the other."""
    rows = [f"probe,0,{difference}" for difference in run["differences"]]
    told = answer(tmp_path, "bias", ["part,reference,value", *rows])["bias"]["probe"]
    assert told["number"] == 29
    assert (round(told["mean"], 5), round(told["t"], 1)) == (run["mean"], run["t"])
    assert told["sd"] == pytest.approx(run["sd"], abs=6e-6)
    assert told["is_real"] is True


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


def accused(scale=0.0, shared=0.0, own=0.0, *, stated=True, studies=600):
    """Return the shares of studies that find a slope, and a real bias, on five bars.

    The gauge's scale is off by `scale`, the bars by `shared` all together and by `own` each, all relative.
    """
    rng = np.random.default_rng(7)
    truth, names = np.array([300.0, 400.0, 500.0, 600.0, 700.0]), [str(i) for i in range(5) for _ in range(10)]
    found = []
    for _ in range(studies):
        known = truth * (1 + rng.normal(0, shared) + rng.normal(0, own, 5))
        u = np.hypot(shared, own) * truth
        bars = {str(i): Reference(known[i], u[i], shared * truth[i] if stated else None) for i in range(5)}
        readings = np.repeat(truth, 10) * (1 + scale) + rng.normal(0, 0.05, 50)
        study = linearity_study(names, readings.tolist(), bars)
        found.append((study.p[1] < ALPHA, bool(study.real_biases())))
    return np.mean(found, axis=0)


@pytest.mark.slow
@pytest.mark.parametrize(("shared", "own"), [(5e-4, 0.0), (0.0, 5e-4), (4e-4, 3e-4)])
@pytest.mark.parametrize("stated", [True, False])
def test_a_perfect_gauge_is_not_accused_of_its_references_error(shared, own, stated) -> None:
    # Scatter alone accuses it in 65 to 85 % of these studies. 5 % and three sigma of 600 studies.
    assert (accused(0.0, shared, own, stated=stated) < 0.05 + 3 * 0.0089).all()


@pytest.mark.slow
def test_a_gauge_with_a_wrong_scale_is_found() -> None:
    # Four times the references' u: a normal test at 5 % finds it in 98 % (one of z = 4 against 1.96).
    assert accused(2e-3, 5e-4)[0] > 0.94
    assert accused(3e-3, 4e-4, 3e-4, stated=False)[0] > 0.94


def test_the_shared_part_of_the_references_goes_into_the_slope(tmp_path) -> None:
    # Wrong together by a share s of every value: the slope is wrong by s, the constant not (by hand).
    rows = [
        f"{value},{value},{value + off},{1e-3 * value},{1e-3 * value}"
        for value in (300, 500, 700) for off in (-0.01, 0.01)
    ]  # fmt: skip
    told = answer(tmp_path, "linearity", ["part,reference,value,u_reference,u_shared", *rows])
    assert told["u"][1] == pytest.approx(1e-3, rel=2e-3)
    assert told["u"][0] < 0.03
    with pytest.raises(ReadingsError) as caught:
        Reference(500.0, u=0.1, u_shared=0.2)
    assert caught.value.code == "shared_part"


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
