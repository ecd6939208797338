"""Nominal sizes of unmarked stock: probabilities by scipy's distributions, and tables that contradict themselves."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.errors import ConfigurationError
from midspan.sets.nominal_sizes import BETWEEN, Sizes, load_sizes
from scipy import stats

# Invented bands, as a user's would be: nominal numbers and their neighbours, one gap.
TABLE = """
[[size]]
name = "500"
spine_thou = [485.0, 515.0]

[[size]]
name = "450"
spine_thou = [440, 470]

[[size]]
name = "550"
spine_thou = [515.0, 560.0]
"""


@pytest.fixture
def sizes(tmp_path):
    (tmp_path / "sizes.toml").write_text(TABLE, encoding="utf-8")
    return load_sizes(tmp_path / "sizes.toml")


def test_a_shaft_well_inside_has_one_name(sizes):
    assert [(size.name, size.probability) for size in sizes.likely(500.0, 0.2)] == [("500", 1.0)]


@pytest.mark.parametrize("dof", [None, 4.0])
def test_a_shaft_at_a_border_has_the_probability_of_each_neighbour(sizes, dof):
    spread = stats.norm(515.4, 0.5) if dof is None else stats.t(dof, 515.4, 0.5)
    first, second = sizes.likely(515.4, 0.5, dof)[:2]
    assert (first.name, second.name) == ("550", "500")
    assert first.probability == pytest.approx(spread.cdf(560) - spread.cdf(515), abs=1e-6)
    assert second.probability == pytest.approx(spread.cdf(515) - spread.cdf(485), abs=1e-6)


def test_in_a_gap_there_is_no_name(sizes):
    assert [size.name for size in sizes.likely(478.0, 0.3)] == [BETWEEN]
    between = {size.name: size.probability for size in sizes.likely(470.0, 0.3)}
    assert between == {BETWEEN: pytest.approx(0.5), "450": pytest.approx(0.5)}


@given(st.floats(60, 4000), st.floats(0.01, 30), st.floats(3, 100))
def test_probabilities_are_a_whole(spine, u, dof):
    table = Sizes.model_validate(
        {"size": [{"name": str(i), "spine_thou": [100.0 * i, 100.0 * i + 90]} for i in range(1, 20)]}
    )
    likely = table.likely(spine, u, dof)
    assert likely
    assert 1 - 0.001 * 20 <= sum(size.probability for size in likely) <= 1 + 1e-9
    assert list(np.sort([-size.probability for size in likely])) == [-size.probability for size in likely]


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ("[440, 470]", "[440, 490]", ["'450'", "'500'", "485", "490"]),
        ("[440, 470]", "[490, 495]", ["'500'", "'450'", "490", "495"]),
        ("[440, 470]", "[470, 440]", ["'450'", "spine_thou", "470", "440"]),
        ('"450"', '"500"', ["'500'"]),
        ("[440, 470]", "[0.44, 0.47]", ["spine_thou"]),
        ("[440, 470]", '["440", 470]', ["spine_thou"]),
        ("spine_thou = [440, 470]", "spine_mm = [440, 470]", ["spine_mm"]),
    ],
)
def test_a_table_that_contradicts_itself_is_refused(tmp_path, old, new, named):
    (tmp_path / "sizes.toml").write_text(TABLE.replace(old, new), encoding="utf-8")
    with pytest.raises(ConfigurationError) as caught:
        load_sizes(tmp_path / "sizes.toml")
    assert [value for value in ["sizes.toml", *named] if value not in str(caught.value)] == []
