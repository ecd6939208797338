"""The plan of a night: what it must hold, and the refusal of each mistake in it."""

import copy
import json

import pytest
from midspan.base.errors import ConfigurationError
from midspan.decision.bands import EXAMPLE as BANDS
from midspan.decision.bands import Bands
from midspan.sorting.plan import EXAMPLE, SortPlan, as_kept, check_bins, load_sort_plan

WHOLE = """
[gauge]
name = "bench"
port = "/dev/gauge"
calibration = "gauge.toml"

[sort]
bands = "bands.toml"
crack_hysteresis_pct = 1.5

[[place]]
number = 1
bin = "500"
holds = 40
[[place]]
number = 2
use = "recheck"
holds = 20
[[place]]
number = 3
use = "rejected"
holds = 20
[[place]]
number = 4
use = "cracked"
holds = 20
[[place]]
number = 5
use = "standard"

[[standard]]
name = "bar 7"
assigned_thou = 500.2
u_assigned_thou = 0.1
from = "slot"

[watch]
temperature_c = [5.0, 40.0]

[notices]
webhook = ["http://localhost/told"]
"""


def planned(tmp_path, text):
    """Return the plan in a text."""
    path = tmp_path / "plan.toml"
    path.write_text(text, encoding="utf-8")
    return load_sort_plan(path)


def test_a_whole_plan_is_read(tmp_path):
    plan = planned(tmp_path, WHOLE)
    assert plan.bin_places("500") == [1]
    assert plan.place_for("standard").number == 5
    assert [standard.name for standard in plan.standards_in_slot] == ["bar 7"]
    assert plan.place_called(2) == "place 2 (recheck)"
    assert plan.place_called(9) == "place 9"
    assert plan.watch.temperature_c == (5.0, 40.0)
    assert plan.sort.attended is False


def test_the_journal_gets_the_plan_without_the_addresses_of_its_notices(tmp_path):
    plan = planned(tmp_path, WHOLE)
    kept = plan.model_dump_json(by_alias=True)
    assert "localhost" not in kept
    assert SortPlan.model_validate_json(kept).place == plan.place


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ("number = 2\n", "number = 1\n", ["place 1"]),
        ('use = "recheck"', 'use = "rejected"', ["'rejected'"]),
        ('use = "cracked"\nholds = 20', 'bin = "510"\nholds = 20', ["'cracked'"]),
        ('bin = "500"', "", ["place 1", "bin", "use"]),
        ('bin = "500"\nholds = 40', 'bin = "500"', ["place 1", "holds"]),
        ('use = "standard"', 'use = "standard"\nholds = 3', ["place 5", "holds"]),
        ('[[place]]\nnumber = 5\nuse = "standard"\n', "", ["'standard'"]),
        ('from = "slot"', 'from = "hand"', ["'hand'", "sort.attended"]),
        ("crack_hysteresis_pct = 1.5", "", ["sort.crack_hysteresis_pct"]),
        ("holds = 40", "hold = 40", ["hold", "holds"]),
        ("temperature_c", "temperatur_c", ["temperatur_c", "temperature_c"]),
        ("holds = 40", "holds = 0", ["place, entry 1", "holds = 0"]),
    ],
)
def test_a_mistake_is_named(tmp_path, old, new, named):
    assert old in WHOLE
    with pytest.raises(ConfigurationError) as caught:
        planned(tmp_path, WHOLE.replace(old, new, 1))
    assert str(caught.value).startswith(str(tmp_path / "plan.toml"))
    assert [value for value in named if value not in str(caught.value)] == []


def test_two_standards_do_not_fit_into_one_slot(tmp_path):
    again = WHOLE[WHOLE.index("[[standard]]") : WHOLE.index("[watch]")]
    with pytest.raises(ConfigurationError, match="slot"):
        planned(tmp_path, WHOLE + again.replace("bar 7", "bar 8"))
    with pytest.raises(ConfigurationError, match="'bar 7'"):
        planned(tmp_path, WHOLE + again)


def test_bins_and_places_must_name_the_same(tmp_path):
    both = copy.deepcopy(EXAMPLE)
    both["place"].append({"number": 5, "bin": "510", "holds": 10})
    bands = Bands.model_validate(BANDS)
    check_bins(SortPlan.model_validate(both), bands, tmp_path)
    with pytest.raises(ConfigurationError, match="'510'"):
        check_bins(SortPlan.model_validate(EXAMPLE), bands, tmp_path)
    both["place"].append({"number": 6, "bin": "520", "holds": 10})
    with pytest.raises(ConfigurationError, match="'520'"):
        check_bins(SortPlan.model_validate(both), bands, tmp_path)


@pytest.mark.parametrize("rule", [{}, {"kind": "simple"}, {"kind": "guarded acceptance", "guard": 0.5}])
def test_what_the_journal_keeps_can_be_read_again(rule):
    """Keep plans with each rule: a simple rule has no guard band, so the default of one must not be kept with it."""
    plan, bands = SortPlan.model_validate(EXAMPLE), Bands.model_validate({**BANDS, "rule": rule})
    kept = json.loads(as_kept(plan, bands))
    assert Bands.model_validate(kept.pop("bands")) == bands
    assert SortPlan.model_validate(kept) == plan
