"""The check of docstrings finds what lacks, and nothing where all is there."""

import ast

import pytest
from reference import docstrings

COMPLETE = '''
def doubled_mm(length_mm: float) -> float:
    """Return twice a length.

    Parameters
    ----------
    length_mm : float
        Length to double, mm.

    Returns
    -------
    float
        Twice the length, mm.

    Raises
    ------
    ValueError
        The length is below 0.
    """
    if length_mm < 0:
        raise ValueError("below 0")
    return 2 * length_mm
'''


def lacks(text, name, monkeypatch, tmp_path):
    """Return the codes of what the function of a module lacks."""
    (tmp_path / f"{name}.py").write_text(text, encoding="utf-8")
    monkeypatch.syspath_prepend(tmp_path)
    (function,) = ast.parse(text).body
    return [lack.split(" ")[0] for lack in docstrings.lacks_of(f"{name}.doubled_mm", function)]


def test_a_complete_docstring_lacks_nothing(monkeypatch, tmp_path):
    assert lacks(COMPLETE, "complete", monkeypatch, tmp_path) == []


@pytest.mark.parametrize(
    ("module", "cut", "left", "code"),
    [
        ("no_parameter", "    length_mm : float\n        Length to double, mm.\n", "", "PR01"),
        ("no_type", "length_mm : float", "length_mm", "PR04"),
        ("no_stop", "Length to double, mm.", "Length to double, mm", "PR09"),
        ("no_result", "    Returns\n    -------\n    float\n        Twice the length, mm.\n\n", "", "RT01"),
        ("no_error", "\n\n    Raises\n    ------\n    ValueError\n        The length is below 0.", "", "no"),
    ],
)
def test_what_was_cut_out_is_found(module, cut, left, code, monkeypatch, tmp_path):
    assert cut in COMPLETE
    assert lacks(COMPLETE.replace(cut, left), module, monkeypatch, tmp_path) == [code]


@pytest.mark.parametrize(
    ("line", "is_riddle"),
    [("Whether the gauge turns.", True), ("That a shaft is bent.", True), ("Return the spine.", False)],
)
def test_a_first_line_that_hides_what_comes_back_is_found(line, is_riddle):
    (function,) = ast.parse(f'def f():\n    """{line}"""').body
    assert (docstrings.riddle(function) is not None) == is_riddle


def test_public_is_what_has_no_underscore():
    names = {name for name, _ in docstrings.public(docstrings.HOST / "base" / "errors.py")}
    assert {"midspan.base.errors.MidspanError", "midspan.base.errors.MidspanError.at"} <= names
    assert not [name for name in names if "._" in name]
    assert list(docstrings.public(docstrings.HOST / "cli" / "measure.py")) == []
