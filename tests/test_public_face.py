"""What the package offers to a program of one's own: names that exist, the README's ten lines, the reference."""

import re
import subprocess
import sys
import textwrap

import midspan
import pytest
from midspan.rehearsal.scenario import example_scenario
from places import ROOT

README = (ROOT / "README.md").read_text(encoding="utf-8")
SECTION = README.partition("### A program of your own\n")[2].partition("\n## ")[0]
PROGRAM = textwrap.dedent("".join(re.findall(r"^(?:    .*)?\n", SECTION, re.MULTILINE))).strip()


def test_every_name_of_the_package_can_be_had():
    assert len(midspan.__all__) > 30
    assert all(getattr(midspan, name).__doc__ for name in midspan.__all__)
    with pytest.raises(AttributeError):
        midspan.no_such_name  # noqa: B018


def test_each_error_offered_has_the_one_root():
    errors = [getattr(midspan, name) for name in midspan.__all__ if name.endswith(("Error", "Fault"))]
    assert len(errors) > 5
    assert all(issubclass(error, midspan.MidspanError) for error in errors)


@pytest.mark.process
def test_ten_lines_of_the_readme_measure_a_shaft(tmp_path):
    assert len(PROGRAM.splitlines()) == 10
    done = subprocess.run([sys.executable, "-c", PROGRAM], capture_output=True, text=True, cwd=tmp_path, check=True)
    spine_thou, expanded_thou = map(float, re.fullmatch(r"spine ([\d.]+) \+- ([\d.]+) thou\n", done.stdout).groups())
    assert 0.1 < expanded_thou < 1.0
    assert abs(spine_thou - example_scenario()["shafts"][0]["spine_thou"]) < expanded_thou


@pytest.mark.process
def test_the_reference_has_every_name(tmp_path):
    made = [sys.executable, "-m", "pdoc", "--docformat", "numpy", "--no-show-source", "-o", str(tmp_path), "midspan"]
    subprocess.run(made, check=True)
    page = (tmp_path / "midspan.html").read_text(encoding="utf-8")
    assert not [name for name in midspan.__all__ if f'id="{name}"' not in page]
