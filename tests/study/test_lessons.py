"""The lessons for a school run from scratch, and their answer checks agree with beam theory."""

import ast
import math

import nbformat
import numpy as np
import pytest
from anastruct import SystemElements
from midspan.study.lesson import check
from nbclient import NotebookClient
from places import ROOT
from scipy import stats
from synthetic import ratio_for, stiffness_of

LESSONS = sorted((ROOT / "host" / "lessons").glob("*.ipynb"))
CUBE, DEPTHS, DIFFERENCE = LESSONS
THOU_MM = 0.0254
G = 9.80665
# jupyter_client and zmq warn about themselves while they start a kernel.
pytestmark = [pytest.mark.filterwarnings("ignore::DeprecationWarning"), pytest.mark.process]


def told(path, folder, **answers):
    """Run a lesson's cells as they come, then its checks with these answers, and return what the checks say."""
    book = nbformat.read(path, as_version=4)
    checks = [nbformat.v4.new_code_cell(cell.source) for cell in book.cells if "check(" in cell.source]
    given = "\n".join(f"{name} = {answer!r}" for name, answer in answers.items())
    book.cells += [nbformat.v4.new_code_cell(given), *checks]
    NotebookClient(book, timeout=120, kernel_name="python3", resources={"metadata": {"path": str(folder)}}).execute()
    outputs = [output for cell in book.cells for output in cell.get("outputs", ())]
    assert not [output for output in outputs if output.output_type == "error" or output.get("name") == "stderr"]
    texts = "\n".join(output.get("text") or output["data"].get("text/plain", "") for output in outputs)
    assert texts.count(check(None, 0.0, 0.0)) == len(answers), texts
    return texts


def constant(path, name):
    """Return what a lesson's code assigns to a name, where that is made of plain numbers."""
    source = "\n".join(cell.source for cell in nbformat.read(path, as_version=4).cells if cell.cell_type == "code")
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == name:
            return eval(ast.unparse(node.value), {"np": np, "float": float})  # our own lesson's literals
    raise AssertionError(f"{path.name} has no {name}")


def handbook_mm(load_n, span_mm, stiffness):
    """Return the sag P L^3 / 48 EI: Roark's Formulas, 7th ed., table 8.1; AISC Manual, table 3-23, case 7."""
    return load_n * span_mm**3 / (48 * stiffness)


def solved_mm(load_n, span_mm, stiffness):
    """Return the sag from anastruct, an independent solver, with two beam elements on a hinge and a roller."""
    system = SystemElements(EI=stiffness, EA=1e12)
    system.add_element(location=[[0, 0], [span_mm / 2, 0]])
    system.add_element(location=[[span_mm / 2, 0], [span_mm, 0]])
    system.add_support_hinged(node_id=1)
    system.add_support_roll(node_id=3)
    system.point_load(node_id=2, Fy=-load_n)
    system.solve()
    return abs(system.get_node_displacements(node_id=2)["uy"])


def exact_thou(sag_mm, load_n, span_mm):
    """Return the standard deflection that belongs to a sag, by the elastica of `synthetic`, not that of Midspan."""
    low, high = 1e6, 1e8
    for _ in range(80):
        middle = math.sqrt(low * high)
        too_stiff = float(ratio_for(load_n * span_mm**2 / middle, 0.5)) * span_mm < sag_mm
        low, high = (low, middle) if too_stiff else (middle, high)
    return float(ratio_for(0.880 * G * 711.2**2 / middle, 0.5)) * 711.2 / THOU_MM


def test_a_cube_of_the_span(tmp_path):
    span_mm, sag_mm = constant(CUBE, "span_mm"), constant(CUBE, "sag_mm")
    stiffness = float(stiffness_of(500.0, 0.5))
    solved = [solved_mm(0.5 * G, span, stiffness) for span in span_mm]
    assert solved == pytest.approx([handbook_mm(0.5 * G, span, stiffness) for span in span_mm], rel=1e-5)
    assert sag_mm == pytest.approx(solved, abs=0.015)  # the dial's hundredths, and what a straight line leaves out
    rule = sag_mm[2] * 880 / 500 * (711.2 / 500) ** 3 / THOU_MM
    answers = {
        "power": round(np.polyfit(np.log(span_mm), np.log(sag_mm), 1)[0], 2),
        "too_high_thou": round(500 * 3 / 711.2, 1),  # the first term of the binomial
        "more_thou": round(exact_thou(sag_mm[2], 0.5 * G, 500.0) - rule, 1),
    }
    said = told(CUBE, tmp_path, **answers)
    assert said.count("right") == 3, said
    assert answers["power"] == pytest.approx(3, abs=0.02)
    assert 0.5 < answers["more_thou"] < 1.5


def test_two_depths(tmp_path):
    answers = {"looks_like_thou": 15.7, "times": 15.75 / 4.0, "stiff_side_deg": 60.0 + 180}  # of the shaft put in
    said = told(DEPTHS, tmp_path, **answers)
    assert said.count("right") == 3, said
    assert "runout 0.40 mm" in said


@pytest.mark.slow
def test_a_difference(tmp_path):
    sag = constant(DIFFERENCE, "sag_mm")
    thou = {name: np.array([exact_thou(mm, 0.850 * G * 0.99985, 700.0) for mm in sag[name]]) for name in sag}
    answers = {
        "b_minus_a_thou": round(thou["B"].mean() - thou["A"].mean(), 2),
        "u_difference_thou": round(math.hypot(*(thou[shaft].std(ddof=1) / math.sqrt(8) for shaft in "AB")), 2),
        # Student's test of scipy, two-sided at 5 %, says which differences are real.
        "b_softer_than_a": bool(stats.ttest_ind(thou["B"], thou["A"]).pvalue < 0.05),
        "c_softer_than_a": bool(stats.ttest_ind(thou["C"], thou["A"]).pvalue < 0.05),
    }
    said = told(DIFFERENCE, tmp_path, **answers)
    assert said.count("right") == 4, said
    assert (answers["b_softer_than_a"], answers["c_softer_than_a"]) == (True, False)


@pytest.mark.parametrize("path", LESSONS, ids=lambda path: path.stem)
def test_a_lesson_comes_without_answers_and_outputs_and_with_its_cautions(path):
    book = nbformat.read(path, as_version=4)
    nbformat.validate(book)
    code = [cell for cell in book.cells if cell.cell_type == "code"]
    assert not any(cell.outputs or cell.execution_count for cell in code)
    tasks = sum(cell.source.startswith("## Task") for cell in book.cells)
    assert tasks == 3
    assert sum("= None  # your answer" in cell.source for cell in code) == tasks
    text = "\n".join(cell.source for cell in book.cells)
    for word in ("eye protection", "cracked", "invented" if path != DEPTHS else "simulated"):
        assert word in text


def test_an_answer_that_is_wrong_is_not_right():
    """Check answers on either side, wrong truths, and answers that are not numbers."""
    low, high, wrong = check(2.8, 3.0, 0.1), check(3.2, 3.0, 0.1), check(True, False, 0)
    assert check(False, False, 0) == check(3.05, 3.0, 0.1) == "right"
    assert len({low, high, wrong, "right"}) == 4
    assert "less" in high
    assert check("3", 3.0, 0.1) == check(float("inf"), 3.0, 0.1)
    assert check("3", 3.0, 0.1) not in {low, high, wrong, "right"}
