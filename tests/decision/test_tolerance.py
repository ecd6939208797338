"""How much of its tolerance a shaft uses: by hand, for a band and for upper limits, within, at and beyond them."""

from types import SimpleNamespace

import pytest
from midspan.decision.bands import Bands
from midspan.decision.tolerance import tolerance_as_plain, tolerance_use

LIMITS = {"spread_max_thou": 6.0, "runout_max_thou": 8.0, "hysteresis_max_pct": 1.0}
BINS = [{"name": "stiff", "spine_thou": [490.0, 500.0], **LIMITS}, {"name": "soft", "spine_thou": [510.0, 530.0]}]
BANDS = Bands.model_validate({"rule": {"coverage_factor": 2.0}, "bin": BINS})


def shaft(spine_thou, **values):
    """Return a shaft whose runout is 4 thou, half of what its bin allows."""
    known = {"u_spine_thou": 0.25, "spread_thou": 3.0, "u_spread_thou": 0.06, "runout_mm": 0.1016}
    known |= {"u_runout_mm": 0.00254, "hysteresis_pct": 0.2, "u_hysteresis_pct": 0.01}
    return SimpleNamespace(spine_thou=spine_thou, **(known | values))


def test_a_band_is_counted_from_its_middle_and_a_limit_from_nothing():
    used = {use.quantity: (use.used_pct, use.u_pct) for use in tolerance_use(shaft(497.5), BANDS)}
    # |497.5 - 495| / 5, 2 * 0.25 / 5; 3 / 6, 0.12 / 6; 4 / 8, 0.2 / 8; 0.2 / 1, 0.02 / 1: by hand
    expected = {"spine": (50, 10), "spread": (50, 2), "runout": (50, 2.5), "hysteresis": (20, 2)}
    assert used.keys() == expected.keys()
    for name, pair in expected.items():
        assert used[name] == pytest.approx(pair)


@pytest.mark.parametrize(("spine_thou", "used_pct", "name"), [
    (490.0, 100, "stiff"), (495.0, 0, "stiff"), (504.0, 180, "stiff"), (506.0, 140, "soft"), (535.0, 150, "soft"),
])  # fmt: skip
def test_a_spine_in_no_band_is_held_against_the_nearest(spine_thou, used_pct, name):
    plain = tolerance_as_plain(shaft(spine_thou), BANDS)
    assert (plain["bin"], plain["spine"]["used_pct"]) == (name, pytest.approx(used_pct))


def test_what_has_no_limit_or_was_not_measured_uses_nothing():
    assert tolerance_as_plain(shaft(520.0), BANDS).keys() == {"bin", "spine"}
    bare = shaft(495.0, runout_mm=None, u_runout_mm=None)
    assert tolerance_as_plain(bare, BANDS).keys() == {"bin", "spine", "spread", "hysteresis"}
