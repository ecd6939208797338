"""Stability over sessions against the handbook's check standards."""

import json

import numpy as np
import pytest
from commands_rig import complaint, midspan
from matplotlib.image import imread
from midspan.base.errors import ReadingsError
from midspan.study.stability import between, pooled, precision_limit, stability_study, variance_between
from places import DATA

STUDIES = json.loads((DATA / "studies.json").read_text(encoding="utf-8"))
LEVELS, CHECK = STUDIES["levels"], STUDIES["check_standard"]


def test_three_levels_of_scatter() -> None:
    """e-Handbook, 2.4.4.1 to 2.4.4.3: within a session, from day to day, from run to run."""
    days = [day for run in LEVELS["runs"] for day in run]
    within = pooled([sd for _, sd in days], [5] * len(days))
    assert (round(within.sd, 5), within.dof) == (LEVELS["within"]["sd"], LEVELS["within"]["dof"])
    assert within.sd**2 * within.dof == pytest.approx(LEVELS["within"]["sum_of_squares"], abs=5e-6)
    runs = [between([mean for mean, _ in run]) for run in LEVELS["runs"]]
    assert [run.sd for run in runs] == pytest.approx(LEVELS["between_days"], abs=5.1e-9)
    both = pooled([run.sd for run in runs], [run.dof for run in runs])
    assert (round(both.sd, 8), both.dof) == tuple(LEVELS["between_days_pooled"].values())
    longest = between([float(np.mean([mean for mean, _ in run])) for run in LEVELS["runs"]])
    assert (round(longest.sd, 5), longest.dof) == tuple(LEVELS["between_runs"].values())


def test_a_variance_below_nothing_is_kept_as_a_sign_and_shown_as_nothing() -> None:
    """Compare with e-Handbook, 2.4.4.3, where the days of the example add less than nothing."""
    days = pooled(LEVELS["between_days"], [5, 5])
    within = pooled([sd for run in LEVELS["runs"] for _, sd in run], [5] * 12)
    assert variance_between(days, within, 6) == pytest.approx(LEVELS["variance_added_by_days"], abs=5e-9)


def six_readings(mean: float, sd: float) -> list[float]:
    """Return six readings with exactly this mean and standard deviation, as the handbook gives only these."""
    pattern = np.array([-2.5, -1.5, -0.5, 0.5, 1.5, 2.5])
    return (mean + sd * pattern / pattern.std(ddof=1)).tolist()


@pytest.fixture(scope="module")
def study():
    """The handbook's check standard."""
    readings = [six_readings(mean, sd) for mean, sd in CHECK["occasions"]]
    return stability_study(readings, [float(day) for day in range(len(readings))])


def test_check_standard_of_the_handbook(study) -> None:
    """Compare with e-Handbook, 2.6.2.

    Pooled scatter, scatter of occasions, two-sigma limits, and occasions outside them.
    """
    assert (round(study.within.sd, 5), study.within.dof) == tuple(CHECK["within"].values())
    assert (round(study.sessions.sd, 4), study.sessions.dof) == tuple(CHECK["between"].values())
    assert study.mean == pytest.approx(CHECK["mean"], abs=5e-5)
    assert study.limits == pytest.approx(CHECK["limits"], abs=5e-5)
    low, high = study.limits
    outside = [[i + 1, round(mean, 3)] for i, mean in enumerate(study.means) if not low <= mean <= high]
    assert outside == CHECK["outside"]


def test_check_standard_of_the_handbook_through_the_command(tmp_path) -> None:
    """e-Handbook, 2.6.2, from a table of readings and days to the answer of the command."""
    rows = [f"{day},{value!r}" for day, (mean, sd) in enumerate(CHECK["occasions"]) for value in six_readings(mean, sd)]
    (tmp_path / "bar.csv").write_text("day,value\n" + "\n".join(rows) + "\n", encoding="utf-8")
    told = json.loads(midspan("study", "stability", "--csv", "bar.csv", "--json", folder=tmp_path).stdout)
    assert (round(told["within_sd"], 5), told["within_dof"]) == tuple(CHECK["within"].values())
    assert (round(told["session_sd"], 4), told["session_dof"]) == tuple(CHECK["between"].values())
    assert told["mean"] == pytest.approx(CHECK["mean"], abs=5e-5)
    low, high = told["limits"]
    assert (low, high) == pytest.approx(CHECK["limits"], abs=5e-5)
    outside = [[i + 1, round(mean, 3)] for i, mean in enumerate(told["session_means"]) if not low <= mean <= high]
    assert outside == CHECK["outside"]


def test_precision_limit_follows_from_the_handbooks_own_numbers(study) -> None:
    """Work the limit out from the handbook's numbers.

    Its printed 0.09238 is a slip, 0.06139 times the root of 2.29 is 0.0929.
    """
    limit = precision_limit(study.within, 5)
    assert limit == pytest.approx(CHECK["precision_limit_of_its_numbers"], abs=5e-7)
    assert (limit / study.within.sd) ** 2 == pytest.approx(CHECK["f"], abs=5e-3)
    assert len(study.restless) == CHECK["above_precision_limit"]


@pytest.mark.slow
def test_a_drift_is_seen_and_chance_is_not_taken_for_one() -> None:
    rng, alarms = np.random.default_rng(3), 0
    for _ in range(1000):
        sessions = rng.normal(500, 0.1, (20, 3))
        alarms += stability_study(sessions.tolist(), np.arange(20.0).tolist()).drifts
    assert 0.03 < alarms / 1000 < 0.07
    drifting = rng.normal(500, 0.1, (20, 3)) + 0.02 * np.arange(20)[:, None]
    study = stability_study(drifting.tolist(), np.arange(20.0).tolist())
    assert study.drifts
    assert study.drift_per_day == pytest.approx(0.02, abs=4 * study.u_drift_per_day)


@pytest.mark.parametrize(
    ("sessions", "days", "code"),
    [
        ([[1.0], [2.0]], [0.0, 1.0], "too_few"),
        ([[1.0], [2.0], [3.0]], [0.0, 0.0, 1.0], "one_time"),
    ],
)
def test_too_few_sessions_or_times_are_refused(sessions, days, code) -> None:
    with pytest.raises(ReadingsError) as caught:
        stability_study(sessions, days)
    assert caught.value.code == code


def test_a_session_of_one_reading_shows_no_scatter_of_its_own() -> None:
    study = stability_study([[500.0, 500.2], [500.1], [500.3, 500.1]], days=[0.0, 1.0, 2.0])
    assert study.deviations[1] is None
    assert study.within.dof == 2
    assert study.within.sd == pytest.approx(0.2 / np.sqrt(2))  # both pairs are 0.2 apart
    assert study.restless == ()


def test_the_command_takes_dates_and_draws(tmp_path, snapshot) -> None:
    path = tmp_path / "bar.csv"
    rows = [
        f"2026-03-{i // 6 + 1:02d},{value}"
        for i, value in enumerate(v for mean, sd in CHECK["occasions"] for v in six_readings(mean, sd))
    ]
    path.write_text("date,value\n" + "\n".join(rows), encoding="utf-8")
    done = midspan("study", "stability", "--csv", path, "--picture", path.with_suffix(".png"))
    assert done.stdout.replace(str(tmp_path), "FOLDER") == snapshot
    assert path.with_suffix(".png").stat().st_size > 10_000


@pytest.mark.slow
def test_a_picture_shows_no_scatter_where_each_session_has_one_reading(tmp_path) -> None:
    # A row of zeros would look like a gauge without any.
    path = tmp_path / "bar.csv"
    path.write_text("day,value\n" + "\n".join(f"{i},{500 + i % 3}" for i in range(9)), encoding="utf-8")
    assert midspan("study", "stability", "--csv", path, "--picture", path.with_suffix(".png")).returncode == 0
    again = path.read_text().replace("8,502", "8,502\n8,501")
    path.write_text(again, encoding="utf-8")
    assert midspan("study", "stability", "--csv", path, "--picture", tmp_path / "more.png").returncode == 0
    assert imread(tmp_path / "more.png").shape[0] > 1.8 * imread(path.with_suffix(".png")).shape[0]


def test_the_command_says_one_line_without_anything_to_study(tmp_path) -> None:
    assert "--csv" in complaint(midspan("study", "stability", folder=tmp_path))
    assert "--store" in complaint(midspan("study", "chart", "--label", "bar", folder=tmp_path))
