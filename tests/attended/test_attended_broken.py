"""A session that is killed at any point, or whose cable is pulled: nothing lost or twice, nothing moves by itself.

The pretended gauge counts what it measured; the world is independent of the host.
"""

import pytest
from attended_rig import AttendedRig
from midspan.conversation.desk import NoticeKind
from midspan.sorting.plan import Checks, Standard
from midspan.store.details import details_of
from midspan.store.journal import Journal
from midspan.store.transit import ENDS
from pretend import Axe

ENTER = ("lay next", "")
END = ("lay next", "q")
AFTERNOON = [("lay next", "blue 7"), ENTER, ENTER, ("lay next", "r"), ("lay next", "blue 7"), ENTER, END]
BAR = Standard(name="bar 7", assigned_thou=500.0, u_assigned_thou=0.1, definition="normal reactions")


def a_rig(folder, **kinds):
    return AttendedRig(folder, {"first": 500.0, "second": 503.0, "bar": 500.0}, **kinds)


def points_of(folder):
    """Return at how many points the host can die in the afternoon."""
    rig, axe = a_rig(folder), Axe()
    rig.session(AFTERNOON, axe=axe)
    assert len(rig.gauge.measured) == 4
    return axe.count


def check_said(rig):
    """Check that a label is that of its shaft wherever its readings are, and that the newest result counts alone."""
    with rig.store() as store:
        for shaft in {shaft for shaft, _ in rig.results()}:
            assert len(store.standing(shaft)) == 1
        if any(shaft == 1 for shaft, _ in rig.results()):
            assert [detail.value for detail in details_of(store, [1])] == ["blue 7"]
            assert store.latest(1).run.label == "blue 7"


def check_books(rig):
    """Check that the gauge's measurements, the archive and the results are the same, each once."""
    measured = len(rig.gauge.measured)
    assert len(rig.kept()) == measured
    assert sorted(shaft for shaft, _ in rig.results()) == sorted(rig.kept())
    assert rig.gauge.held is None
    assert all(way.stage in ENDS or way.result is None for way in rig.transits())


def test_a_shaft_that_was_not_finished_keeps_number_and_label_though_a_check_comes_first(tmp_path):
    rig = a_rig(tmp_path, standards=[BAR], checks=Checks(every_shafts=9))

    def lay(posted, typed):
        rig.lay_in(posted, typed)
        if posted.prompt.id == "lay standard":
            rig.world.rollers = ["bar"]

    def dies_measuring(posted, typed):
        rig.lay_in(posted, typed)
        rig.gauge.lost_calls = 9 if typed == "" else 0

    rig.session([("lay standard", "k"), ("lay next", "K-1"), ENTER], before=dies_measuring)
    rig.gauge.lost_calls, rig.laid = 0, ["first", "second"]
    rig.session([("lay standard", ""), ENTER, ENTER, ("lay next", "q"), ("lay standard", "")], before=lay)
    with rig.store() as store:
        assert [detail.value for detail in details_of(store, [1])] == ["K-1"]
        assert [store.latest(shaft).run.label for shaft in (1, 3)] == ["K-1", ""]
    check_books(rig)
    assert all(way.stage in ENDS for way in rig.transits())


@pytest.mark.slow
def test_a_host_may_die_at_any_point(tmp_path):
    points = points_of(tmp_path)
    assert points > 40
    for k in range(1, points + 1):
        folder = tmp_path / str(k)
        folder.mkdir()
        rig = a_rig(folder)
        rig.session(AFTERNOON, axe=Axe(k))
        before = list(rig.gauge.measured)
        rig.session([END])
        assert rig.gauge.measured == before, f"point {k}: it moved without an Enter"
        check_books(rig)
        check_said(rig)
        if k % 5 == 0:
            rig.laid = ["second"]
            rig.session([ENTER, END])
            check_books(rig)
            assert rig.gauge.measured == [*before, "second"]


def test_a_lost_line_is_looked_for_on_an_enter_and_nothing_moves_by_that(tmp_path):
    rig = a_rig(tmp_path)

    def cut(posted, typed):
        rig.lay_in(posted, typed)
        if posted.prompt.id == "lay next" and len(rig.gauge.measured) == 1 and not cuts:
            rig.gauge.lost_calls, rig.line.gone = 2, 1
            cuts.append(posted.serial)

    cuts: list[int] = []
    rig.laid = ["first", "second", "second"]
    person = rig.session(
        [ENTER, ENTER, ("line lost", ""), ("line lost", ""), ("line lost", ""), ENTER, END], before=cut
    )
    assert rig.gauge.measured == ["first", "second"]
    check_books(rig)
    assert "fault" in person.told(NoticeKind.SOUND)


def test_a_session_may_end_without_its_line(tmp_path):
    rig = a_rig(tmp_path)

    def cut(posted, typed):
        rig.lay_in(posted, typed)
        rig.gauge.lost_calls = 9

    rig.session([ENTER, ("line lost", "q")], before=cut)
    rig.gauge.lost_calls = 0
    assert rig.results() == []
    assert all(way.stage in ENDS or way.result is None for way in rig.transits())


def test_a_killed_check_is_a_check_of_the_next_session(tmp_path):
    rig = a_rig(tmp_path, standards=[BAR], checks=Checks(every_shafts=5))

    def lay(posted, typed):
        rig.lay_in(posted, typed)
        if posted.prompt.id == "lay standard":
            rig.world.rollers = ["bar"]

    for k in range(1, 40, 4):
        rig.laid = ["first"]
        rig.session(lambda posted: "" if len(rig.gauge.measured) % 3 else "q", axe=Axe(k), before=lay)
        rig.session(lambda posted: "" if posted.prompt.id == "lay standard" else "q", before=lay)
        check_books(rig)
    with rig.store() as store:
        checks = Journal(store).checks(gauge="paper")
    assert len(checks) == rig.gauge.measured.count("bar") > 5
    assert all(check.good for check in checks)
