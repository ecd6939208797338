"""The budget as people see it: bars, trials and picture; and the commands that print them."""

import json
import math
import os
from dataclasses import replace
from pathlib import Path
from unittest import mock

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.image import imread
from midspan.base.errors import ConfigurationError, OutputError
from midspan.cli.budget import show_budget
from midspan.cli.options import Shown
from midspan.cli.risk import risk
from midspan.measurement.result import evaluate
from midspan.measurement.spine_monte_carlo import spine_trials
from midspan.report.budget_text import BAR_SIGNS, bar, budget_table, trials_table, trials_words
from midspan.report.plot_budget import draw_budget
from midspan.store.evaluation import RunReference
from midspan.uncertainty.budget import Budget, Contribution, Coverage
from midspan.uncertainty.monte_carlo import Agreement
from screens import NUMBERS, printed, screen
from synthetic import Gauge, Shaft, paper_calibration, raw_run

(RESULT,) = evaluate([raw_run(Shaft(number=12), Gauge(), np.random.default_rng(1))], paper_calibration())
RUN = RunReference("readings.avro", 0, 12, "", 0)
STORE = Path("results.db")
BANDS = """
[rule]
kind = "guarded acceptance"
guard = 0.5
[[bin]]
name = "500"
spine_thou = [495, 505]
"""


def lines(thing):
    """Return the lines of a table that have words."""
    return [line for line in printed(thing).splitlines() if line.strip()]


@given(st.floats(0, 1))
def test_a_bar_is_as_long_as_its_portion(portion):
    eighths = {"█": 8, "▏": 1, "▎": 2, "▍": 3, "▌": 4, "▋": 5, "▊": 6, "▉": 7}
    assert sum(eighths[sign] for sign in bar(portion)) == pytest.approx(portion * BAR_SIGNS * 8, abs=0.5)


def test_the_table_has_every_cause_its_portion_and_u_with_its_k():
    _, *rows, together, expanded = lines(budget_table(RESULT.budget, Coverage()))
    assert len(rows) == len(RESULT.budget.contributions)
    portions = [
        int(next(word for word in row.split() if word[:-1].isdigit() and word.endswith("%")).rstrip("%"))
        for row in rows
    ]
    assert portions == sorted(portions, reverse=True)
    assert sum(portions) == pytest.approx(100, abs=len(portions) / 2)
    assert len(rows[0].strip().split()[-1]) >= len(rows[3].strip().split()[-1]) > 1
    assert f"{RESULT.u_spine_thou:.3f}" in together
    assert expanded.startswith("U = 1.96 u")
    assert f"{1.96 * RESULT.u_spine_thou:.3f}" in expanded


def test_trials_stand_beside_the_budget():
    found = spine_trials(RESULT, 10_000)
    budget = RESULT.budget
    expanded = budget.expanded()
    _, here, there, shortest = lines(trials_table(budget, RESULT.spine_thou, expanded, found))
    assert float(here.split()[3]) == pytest.approx(RESULT.spine_thou - expanded, abs=0.001)
    assert there.split()[0] == "10000"
    assert float(there.split()[3]) == pytest.approx(RESULT.u_spine_thou, rel=0.05)
    assert float(shortest.split()[-1]) == pytest.approx(found.shortest[1], abs=0.001)


def test_trials_confirm_the_budget_or_say_what_to_trust(snapshot):
    assert [trials_words(Agreement(low, 0.003, 0.05)) for low in (0.002, 0.2)] == snapshot


@pytest.mark.slow
@pytest.mark.parametrize("ending", [".png", ".pdf", ".svg"])
def test_the_picture_is_written(tmp_path, ending):
    path = tmp_path / f"budget{ending}"
    draw_budget("shaft 12 $x", RESULT.budget, Coverage(), path, spine_trials(RESULT, 1000))
    assert path.stat().st_size > 4000
    if ending == ".png":
        grey = imread(path)[..., :3].mean(axis=2)
        assert grey.min() < 0.2  # ink that shows without colour
        assert grey.max() == 1


def test_a_budget_without_uncertainty_is_not_drawn(tmp_path):
    nothing = Budget((Contribution("span", 0.0, 1.0, "mm"),))
    with pytest.raises(OutputError) as caught:
        draw_budget("a", nothing, Coverage(), tmp_path / "a.png")
    assert caught.value.code == "nothing_to_draw"


@pytest.mark.slow
@pytest.mark.parametrize(("name", "code"), [("a.bmp", "picture_ending"), ("none/a.png", "")])
def test_a_picture_that_cannot_be_written_is_named(tmp_path, name, code):
    with pytest.raises(OutputError) as caught:
        draw_budget("a", RESULT.budget, Coverage(), tmp_path / name)
    assert caught.value.code == code
    assert str(tmp_path / name) in str(caught.value)
    assert not [*tmp_path.iterdir()]


@pytest.mark.slow
def test_the_command_prints_table_trials_and_picture(capsys, tmp_path, store_place, snapshot):
    with mock.patch.dict(os.environ, COLUMNS="160"):
        show_budget(RESULT, RUN, store_place, {}, 2000, Shown(picture=tmp_path / "a.png"))
    assert screen(capsys.readouterr().out, NUMBERS) == snapshot
    assert (tmp_path / "a.png").exists()


def test_the_command_as_json(capsys):
    few = replace(RESULT, dof_causes=(*RESULT.dof_causes[:-1], 7.0))
    show_budget(few, RUN, STORE, {}, 2000, Shown(as_json=True, k=3.0))
    shown = json.loads(capsys.readouterr().out)
    assert shown["k"] == 3.0
    assert shown["expanded_thou"] == pytest.approx(3 * RESULT.u_spine_thou)
    assert sum(cause["portion"] for cause in shown["causes"]) == pytest.approx(1)
    assert math.hypot(*(cause["u_thou"] for cause in shown["causes"])) == pytest.approx(RESULT.u_spine_thou)
    assert shown["causes"][-1]["dof"] == 7.0
    assert shown["causes"][4]["dof"] is None
    assert shown["trials"]["trials"] == 2000
    assert isinstance(shown["agrees"], bool)


def test_risk_shows_the_rule_of_the_file_first_and_what_it_costs(capsys, tmp_path):
    bands = tmp_path / "bands.toml"
    bands.write_text(BANDS)
    risk(bands, 500.0, 3.0, 0.4, as_json=True)
    first, *others = json.loads(capsys.readouterr().out)
    assert first["rule"]["kind"] == "guarded acceptance"
    assert {other["rule"]["kind"] for other in others} == {"guarded both ways", "guarded rejection", "simple"}
    assert all(first["consumer"] <= other["consumer"] + 1e-12 for other in others if other["doubtful"] == 0)


def test_risk_refuses_a_process_without_width(tmp_path):
    bands = tmp_path / "bands.toml"
    bands.write_text(BANDS)
    with pytest.raises(ConfigurationError):
        risk(bands, 500.0, 0.0, 0.4)
