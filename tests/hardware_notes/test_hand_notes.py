"""The error budgets in hardware_notes/hand_bench.md are those that the code computes for the benches beside them.

Run as a script, it redraws the tables.
"""

import re
import tomllib

import pytest
from midspan.hand_bench.bench import HandBench
from midspan.report.hand_text import expected_budget
from places import ROOT

NOTES = ROOT / "hardware_notes" / "hand_bench.md"
SPINES = (350.0, 500.0, 1000.0)
SCATTER = {"school": 0.3, "careful": 0.1}
READINGS = 16


def benches(text):
    return [tomllib.loads(block) for block in re.findall(r"```toml\n(.*?)```", text, re.DOTALL)]


def table_of(content):
    bench = HandBench.model_validate(content)
    budgets = [expected_budget(bench, spine, SCATTER[bench.bench.id], READINGS) for spine in SPINES]
    rows = [("cause", *(f"at {spine:g}" for spine in SPINES)), ("---", *("---:",) * len(SPINES))]
    rows += [
        (part.name, *(f"{budget.contributions[i].u:.3f}" for budget in budgets))
        for i, part in enumerate(budgets[0].contributions)
    ]
    rows.append(("together", *(f"{budget.u:.3f}" for budget in budgets)))
    rows.append(("U for 95 %", *(f"{budget.expanded():.2f}" for budget in budgets)))
    return "".join(f"| {' | '.join(row)} |\n" for row in rows)


def redrawn(text):
    for content in benches(text):
        name = content["bench"]["id"]
        place = rf'(id = "{name}".*?```\n\n)(?:\|[^\n]*\n)+'
        text = re.sub(place, lambda found, c=content: found.group(1) + table_of(c), text, count=1, flags=re.DOTALL)
    return text


def test_the_tables_are_those_of_the_code() -> None:
    text = NOTES.read_text(encoding="utf-8")
    assert [content["bench"]["id"] for content in benches(text)] == ["school", "careful"]
    assert text.count("| U for 95 % |") == 2
    assert redrawn(text) == text


@pytest.mark.parametrize(("index", "below"), [(0, 1.5), (1, 0.25)])
def test_a_school_reaches_one_and_a_half_thou_and_a_careful_bench_a_quarter(index, below) -> None:
    bench = HandBench.model_validate(benches(NOTES.read_text(encoding="utf-8"))[index])
    assert expected_budget(bench, 500.0, SCATTER[bench.bench.id], READINGS).expanded() < below


def test_a_tenth_of_a_newton_of_the_dial_is_six_thou() -> None:
    """The notes warn of 0.1 N of the dial in 8.63 N, at spine 500."""
    bench = HandBench.model_validate(benches(NOTES.read_text(encoding="utf-8"))[1])
    parts = expected_budget(bench, 500.0, 0.1, READINGS).contributions
    assert abs(next(part.sensitivity for part in parts if part.name == "dial force")) * 0.1 == pytest.approx(6, abs=0.3)


if __name__ == "__main__":
    NOTES.write_text(redrawn(NOTES.read_text(encoding="utf-8")), encoding="utf-8")
