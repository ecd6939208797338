"""A night on a pretended gauge: how it goes, and that no death at any instant loses a shaft or guesses a bin."""

import pytest
from midspan.store.transit import RunEventKind
from night_rig import CRACKED, REJECTED, SOFTER, STIFFER, Rig, a_world, plan_with
from pretend import STANDARD, Axe

pytestmark = pytest.mark.slow

# Four kinds of shafts and their places; the standard in its slot.


def test_a_quiet_night(tmp_path):
    rig = Rig(tmp_path, a_world())
    ending = rig.sort()
    assert ending.is_over
    assert rig.world.went == {"stiff": STIFFER, "soft": SOFTER, "wrong": REJECTED, "cracked": CRACKED}
    assert rig.world.slot == STANDARD
    assert rig.check_ledger() == 0
    assert [transit.standard for transit in rig.transits()] == ["bar 7", None, None, None, None, "bar 7"]
    assert [event.kind for event in rig.events()] == [RunEventKind.FAULT, RunEventKind.ENDED]
    assert rig.events()[0].code == "CRACK_SUSPECTED"
    lie = "2 in bins, 1 rejected, 1 maybe cracked. All were measured."
    assert rig.notices.told == [("finished", f"{ending.words}; 4 shafts: {lie}")]


# Death at every instant


def a_small_rig(folder):
    """One that is accepted, one that hints at a crack, and no check standard."""
    return Rig(folder, a_world(hopper=["soft", "cracked"], spines={"soft": 508.0, "cracked": 501.0}), plan_with())


@pytest.fixture(scope="module")
def instants(tmp_path_factory):
    """Return how many instants a small night has at which host or gauge can die."""
    axe = Axe()
    assert a_small_rig(tmp_path_factory.mktemp("night")).sort(axe).is_over
    assert axe.count > 50
    return axe.count


def test_a_host_killed_at_any_instant_loses_nothing(tmp_path_factory, instants):
    for k in range(1, instants + 1):
        rig = a_small_rig(tmp_path_factory.mktemp("night"))
        assert rig.sort(Axe(k)) is None
        assert rig.sort().is_over, k
        assert rig.check_ledger() == 0, k  # the gauge lived, so everything is known
        assert rig.world.went == {"soft": SOFTER, "cracked": CRACKED}


def test_a_gauge_reset_at_any_instant_costs_no_shaft(tmp_path_factory, instants):
    uncertain = 0
    for k in range(2, instants + 1, 2):
        rig, axe = a_small_rig(tmp_path_factory.mktemp("night")), Axe()
        axe.reset = (k,)
        assert rig.sort(axe).is_over, k
        uncertain += rig.check_ledger()
        resets = len(set(rig.gauge.boots_told)) - 1
        assert [event.code for event in rig.events() if event.code == "GAUGE_RESET"] == ["GAUGE_RESET"] * resets, k
    assert 0 < uncertain < 6  # those that were falling just then, each with its place named


def test_host_and_gauge_dying_together_cost_no_shaft(tmp_path_factory, instants):
    for k in range(1, instants + 1, 3):
        rig, axe = a_small_rig(tmp_path_factory.mktemp("night")), Axe(k + 1)
        axe.reset = (k,)
        rig.sort(axe)
        assert rig.sort().is_over, k
        rig.check_ledger()
