"""Run lengths of control charts against published tables."""

import json
import math

import pytest
from midspan.study.control_chart import RULES
from midspan.study.run_length import EIGHT_IN_A_ROW, FOUR_OF_FIVE, TWO_OF_THREE, rules_run_length, run_length
from places import DATA

PUBLISHED = json.loads((DATA / "run_lengths.json").read_text(encoding="utf-8"))
WEIGHTED, RUN_RULES = PUBLISHED["weighted_mean"], PUBLISHED["run_rules"]
STUDIES = json.loads((DATA / "studies.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("table", WEIGHTED, ids=[f"{table['weight']} {table['sigmas']}" for table in WEIGHTED])
def test_run_lengths_of_the_weighted_mean(table) -> None:
    """Lucas and Saccucci (1990), table 3, Crowder (1987), table 1: to 0.4 % or 0.006, as they print them."""
    for shift, printed in zip(table["shift"], table["run_length"], strict=True):
        found = run_length(float(shift), limit=math.inf, weight=table["weight"], mean_limit=table["sigmas"])
        assert found == pytest.approx(printed, rel=4e-3, abs=6e-3), shift


@pytest.mark.parametrize("rule", RUN_RULES["run_length"])
def test_run_lengths_of_run_rules(rule: str) -> None:
    """Champ and Woodall (1987), table 1: to the digits printed."""
    for shift, printed in zip(RUN_RULES["shift"], RUN_RULES["run_length"][rule], strict=True):
        found = rules_run_length(float(shift), frozenset({rule} - {"limits"}))
        assert found == pytest.approx(printed, abs=RUN_RULES["within"]), shift


def test_run_length_of_all_rules_of_western_electric() -> None:
    """Champ and Woodall (1987): a good gauge signals every 91.75 readings."""
    names = {TWO_OF_THREE, FOUR_OF_FIVE, EIGHT_IN_A_ROW}
    assert names <= {rule.name for rule in RULES}
    assert rules_run_length(0.0, frozenset(names)) == pytest.approx(RUN_RULES["all_in_control"], abs=6e-3)


@pytest.mark.parametrize(("shift", "printed"), STUDIES["checks_until_seen"]["by_shift"].items())
def test_run_lengths_of_single_readings(shift: str, printed: float) -> None:
    """e-Handbook, 6.3.2.3.1, where 371 and 44 are rounded up."""
    assert run_length(float(shift)) == pytest.approx(printed, rel=2.5e-3)
    assert run_length(float(shift), weight=1.0) == pytest.approx(run_length(float(shift)), rel=1e-6)
