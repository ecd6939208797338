"""Crossed gauge studies against published tables, and tables that are refused."""

import csv
import json
from importlib.resources import files

import numpy as np
import pytest
from commands_rig import complaint, midspan
from hypothesis import assume, given
from hypothesis import strategies as st
from midspan.base.errors import ReadingsError
from midspan.study.gauge_rr import crossed_study, one_way
from places import DATA

STUDIES = json.loads((DATA / "studies.json").read_text(encoding="utf-8"))
MANUAL, OPEN = STUDIES["crossed_manual"], STUDIES["crossed_open"]


def lines(cells):
    """Return part, appraiser and value of each reading of nested cells."""
    return zip(
        *((str(i), "ABC"[j], value) for i, row in enumerate(cells) for j, cell in enumerate(row) for value in cell),
        strict=True,
    )


def study_of(cells, interaction=None):
    """Return the crossed study of nested cells."""
    return crossed_study(*lines(cells), interaction)


def by_source(rows, name):
    """Return a field of each row by its source."""
    return {row.source: getattr(row, name) for row in rows}


def test_the_manuals_table_has_its_checksum() -> None:
    """Check the total: copies with one wrong cell are in circulation."""
    values = np.array(MANUAL["cells"])
    assert ((values - values.mean()) ** 2).sum() == pytest.approx(MANUAL["ss"]["total"], abs=5e-5)


def test_analysis_of_variance_of_the_manual() -> None:
    """AIAG MSA, 4th ed., chapter III B: sums of squares to the printed digits."""
    rows = study_of(MANUAL["cells"]).with_interaction
    assert by_source(rows, "df") == MANUAL["df"]
    assert by_source(rows, "ss") == pytest.approx(MANUAL["ss"], abs=5.1e-5)
    f = by_source(rows, "f")
    assert {name: f[name] for name in MANUAL["f_over_interaction"]} == pytest.approx(
        MANUAL["f_over_interaction"], abs=5.1e-4
    )
    assert by_source(rows, "p")["interaction"] == pytest.approx(MANUAL["p_interaction"], abs=5e-4)


def test_components_and_percentages_of_the_manual() -> None:
    """The interaction is chance (p = 0.974), so it is pooled; variances, deviations and percentages as printed."""
    study = study_of(MANUAL["cells"])
    assert not study.kept_interaction
    pooled = study.table[2]
    assert (pooled.df, round(pooled.ss, 4), round(pooled.ms, 5)) == tuple(MANUAL["pooled"].values())
    found = study.components.named()
    for name, variance in MANUAL["variances"].items():
        assert found[name] == pytest.approx(variance, abs=5.1e-6), name
    for name, sd in MANUAL["sd"].items():
        assert found[name] ** 0.5 == pytest.approx(sd, abs=3.1e-4 if name == "total" else 2e-6), name
    for name, share in MANUAL["pct_of_study"].items():
        assert study.pct_of_study(name) == pytest.approx(share, abs=5.1e-3), name
    for name, share in MANUAL["pct_of_variance"].items():
        assert study.pct_of_variance(name) == pytest.approx(share, abs=0.051), name
    assert int(study.classes) == MANUAL["classes"]


def test_keeping_the_interaction_of_the_manual_changes_its_numbers_and_is_said_to_be_nothing() -> None:
    """Its mean square is below that of the error: 0.01994 against 0.04598."""
    study = study_of(MANUAL["cells"], interaction=True)
    assert study.components.interaction == 0
    assert study.components.negative == ("interaction",)
    assert study.components.repeatability**0.5 == pytest.approx(0.214435, abs=1e-6)  # own arithmetic: root of 0.0459822


def test_open_data_with_expected_answers() -> None:
    """Answers published with the data to 14 digits."""
    study = study_of(OPEN["cells"])
    rows = study.with_interaction
    assert by_source(rows, "ss") == pytest.approx(OPEN["ss"], rel=1e-12)
    for name in ("part", "appraiser", "interaction"):
        assert by_source(rows, "f")[name] == pytest.approx(OPEN["f_over_interaction"][name], rel=1e-11)
        assert by_source(rows, "p")[name] == pytest.approx(OPEN["p"][name], rel=1e-10)
    for name, variance in OPEN["variances"].items():
        assert study.components.named()[name] == pytest.approx(variance, rel=1e-12), name
    for name, share in OPEN["pct_of_study"].items():
        assert study.pct_of_study(name) == pytest.approx(share, abs=5.1e-3)
    for name, share in OPEN["pct_of_tolerance_10"].items():
        assert study.pct_of_tolerance(name, 10.0) == pytest.approx(share, abs=5.1e-3)


def answer(folder, cells, *options):
    """Return what `midspan study gauge --json` says of nested cells."""
    rows = [f"{part},{who},{value}" for part, who, value in zip(*lines(cells), strict=True)]
    (folder / "cells.csv").write_text("part,appraiser,value\n" + "\n".join(rows) + "\n", encoding="utf-8")
    done = midspan("study", "gauge", "--csv", "cells.csv", "--json", *options, folder=folder)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_both_published_studies_through_the_command(tmp_path) -> None:
    told = answer(tmp_path, MANUAL["cells"])
    for name, variance in MANUAL["variances"].items():
        assert told["variances"][name] == pytest.approx(variance, abs=5.1e-6), name
    for name, share in MANUAL["pct_of_study"].items():
        assert told["pct_of_study"][name] == pytest.approx(share, abs=5.1e-3), name
    assert (told["interaction_kept"], int(told["classes"])) == (False, MANUAL["classes"])
    told = answer(tmp_path, OPEN["cells"], "--tolerance", 10)
    squares = {row["source"]: row["ss"] for row in told["anova"]}
    for name in ("part", "appraiser"):
        assert squares[name] == pytest.approx(OPEN["ss"][name], rel=1e-12), name
    for name, variance in OPEN["variances"].items():
        assert told["variances"][name] == pytest.approx(variance, rel=1e-12), name
    for name, share in OPEN["pct_of_tolerance_10"].items():
        assert told["pct_of_tolerance"][name] == pytest.approx(share, abs=5.1e-3), name


def certified(text: str, label: str) -> float:
    """Return the last number of the line that begins with a label."""
    return float(next(line for line in text.splitlines() if line.startswith(label)).split()[-1])


def test_one_way_analysis_against_certified_values() -> None:
    """NIST StRD, data set SiRstv (5 instruments, 5 readings each), as scipy carries it."""
    text = files("scipy.stats.tests").joinpath("data/nist_anova/SiRstv.dat").read_text(encoding="utf-8")
    body = [line.split() for line in text.splitlines()[60:] if line.strip()]
    groups: dict[str, list[float]] = {}
    for group, value in body:
        groups.setdefault(group, []).append(float(value))
    assert [len(group) for group in groups.values()] == [5] * 5
    rows = [line.split() for line in text.splitlines() if line.startswith(("Between", "Within"))]
    between, within = one_way(list(groups.values()), "instrument")
    found = [between.df, between.ss, between.ms, between.f]
    assert found == pytest.approx([float(cell) for cell in rows[0][2:]], rel=1e-12)
    assert [within.df, within.ss, within.ms] == pytest.approx([float(cell) for cell in rows[1][2:]], rel=1e-12)


READING = st.floats(-5, 5).map(lambda value: round(value, 3))
TABLES = st.integers(2, 4).flatmap(
    lambda trials: st.lists(
        st.lists(st.lists(READING, min_size=trials, max_size=trials), min_size=3, max_size=3), min_size=2, max_size=5
    )
)


@pytest.mark.slow
@given(TABLES, st.randoms(use_true_random=False), st.sampled_from([25.4, 1e-3, 7.0]), st.floats(-100, 100))
def test_order_unit_and_origin_of_the_readings_change_nothing(cells, random, factor, origin) -> None:
    values = np.array(cells)
    assume(np.ptp(values, axis=2).max() > 0.01)
    plain, rows = study_of(cells, True), list(zip(*lines((values * factor + origin).tolist()), strict=True))
    random.shuffle(rows)
    other = crossed_study(*zip(*rows, strict=True), True)
    scale = values.var() * factor**2
    for name, variance in plain.components.named().items():
        assert other.components.named()[name] / scale == pytest.approx(variance * factor**2 / scale, abs=1e-7), name


@pytest.mark.slow
@given(TABLES)
def test_sums_of_squares_and_shares_add_up(cells) -> None:
    assume(np.ptp(np.array(cells), axis=2).max() > 0.01)
    study = study_of(cells)
    *parts, total = (row.ss for row in study.with_interaction)
    assert sum(parts) == pytest.approx(total, rel=1e-9)
    shares = [study.pct_of_variance(name) for name in ("repeatability", "appraiser", "interaction", "part to part")]
    assert sum(shares) == pytest.approx(100)


def test_variances_of_an_invented_gauge_come_out() -> None:
    """Three hundred studies of known variances: the mean estimates are within a tenth of them."""
    rng, found = np.random.default_rng(5), []
    for _ in range(300):
        part, who = rng.normal(0, 3, (10, 1, 1)), rng.normal(0, 1, (1, 6, 1))
        mixed, error = rng.normal(0, 0.8, (10, 6, 1)), rng.normal(0, 0.5, (10, 6, 3))
        values = part + who + mixed + error
        rows = [(str(i), str(j), value) for i in range(10) for j in range(6) for value in values[i, j]]
        components = crossed_study(*zip(*rows, strict=True), True).components
        found.append([components.part, components.appraiser, components.interaction, components.repeatability])
    assert np.mean(found, axis=0) == pytest.approx([9.0, 1.0, 0.64, 0.25], rel=0.1)


@pytest.mark.parametrize(
    ("change", "code", "named"),
    [
        (lambda rows: [row for row in rows if row[1] == "A"], "one_appraiser", ["(A)"]),
        (lambda rows: [row for row in rows if row[0] == "3"], "one_part", ["(3)"]),
        (lambda rows: rows[:-1], "unbalanced", ["part 9", "appraiser C", "2", "3"]),
        (lambda rows: [row for row in rows if row[:2] != ("4", "B")], "unbalanced", ["part 4", "appraiser B", "0"]),
        (lambda rows: rows[::3], "no_repeats", []),
        (lambda rows: [(part, who, 1.0) for part, who, _ in rows], "no_scatter", []),
    ],
)
def test_a_table_that_cannot_be_studied_is_refused_with_the_cell(change, code, named) -> None:
    rows = change(list(zip(*lines(MANUAL["cells"]), strict=True)))
    with pytest.raises(ReadingsError) as caught:
        crossed_study(*zip(*rows, strict=True))
    assert caught.value.code == code
    assert [value for value in named if value not in str(caught.value)] == []
    assert "\n" not in str(caught.value)


@pytest.fixture
def table(tmp_path):
    """The manual's readings as a CSV."""
    path = tmp_path / "readings.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([("part", "operator", "value"), *zip(*lines(MANUAL["cells"]), strict=True)])
    return path


@pytest.mark.slow
def test_the_command_prints_table_and_verdict_and_draws(table, snapshot) -> None:
    done = midspan("study", "gauge", "--csv", table, "--picture", table.with_suffix(".png"))
    assert done.returncode in (0, None), done.stderr
    assert done.stdout.replace(str(table.parent), "FOLDER") == snapshot
    assert table.with_suffix(".png").stat().st_size > 10_000
    told = json.loads(midspan("study", "gauge", "--csv", table, "--json").stdout)
    assert told["pct_of_study"]["gauge (R&R)"] == pytest.approx(27.86, abs=0.005)


def test_the_command_says_one_line_for_a_table_without_appraisers(tmp_path) -> None:
    path = tmp_path / "one.csv"
    path.write_text("part,value\n1,2.0\n1,2.1\n2,3.0\n2,3.1\n", encoding="utf-8")
    assert "(none)" in complaint(midspan("study", "gauge", "--csv", path))
