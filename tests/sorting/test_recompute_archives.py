"""Archives judged again: which basis counts, what is stored beside the old, and which readings are passed over.

The readings are those of shafts on a gauge on paper whose spine is known.
"""

from dataclasses import replace

import pytest
from midspan.archive.writer import ArchiveWriter
from midspan.base.errors import MidspanError
from midspan.decision.bands import EXAMPLE as BANDS
from midspan.decision.bands import Bands
from midspan.decision.basis import Basis
from midspan.decision.decision import Outcome
from midspan.sorting import recompute
from midspan.sorting.recompute import BesideOld, Rules, entries, recomputed, stored_nowhere, usable
from midspan.store.evaluation import Origin
from midspan.store.kept_calibration import KeptCalibration
from night_rig import BAR, plan_with
from pretend import readings
from stores import add_result
from synthetic import paper_calibration

CALIBRATION = paper_calibration()
RULES = Bands.model_validate(BANDS)
PLAN = plan_with(standard=[BAR])
SPINES = {1: 500.0, 2: 505.0, 3: 498.0}


@pytest.fixture
def archives(tmp_path):
    """Return the places of two archives: shafts 1 and 2, and shaft 3, which is labelled as the check standard."""
    places = [tmp_path / "a.avro", tmp_path / "b.avro"]
    for place, shafts in zip(places, ((1, 2), (3,)), strict=True):
        with ArchiveWriter(place) as writer:
            for shaft in shafts:
                label = BAR["name"] if shaft == 3 else ""
                writer.append(replace(readings(SPINES[shaft], 0.0, shaft), shaft=shaft, label=label))
    return places


def kept_in(*places):
    damage = []
    found = list(entries(places, damage))
    return found, damage


def test_all_whole_shafts_of_all_archives_come_in_order_and_damage_is_named(archives, tmp_path):
    found, damage = kept_in(*archives)
    assert [kept.run.shaft for kept in found] == [1, 2, 3]
    assert [kept.where.archive for kept in found] == [str(archives[0])] * 2 + [str(archives[1])]
    assert damage == []
    with archives[0].open("ab") as torn:
        torn.write(b"half a shaft")
    found, damage = kept_in(archives[0], tmp_path / "nothing.avro", archives[1])
    assert [kept.run.shaft for kept in found] == [1, 2, 3]
    assert [str(archives[0]) in damage[0], "nothing.avro" in damage[1], len(damage)] == [True, True, 2]


def test_readings_of_another_gauge_are_not_evaluated_by_its_calibration(archives):
    found, _ = kept_in(*archives)
    assert list(usable(found, CALIBRATION)) == found
    foreign = [replace(kept, run=replace(kept.run, gauge="other")) for kept in found]
    with pytest.raises(MidspanError):
        list(usable(foreign, CALIBRATION))


def test_without_bands_nothing_is_judged_and_with_a_plan_its_standard_is_known(archives):
    found, _ = kept_in(*archives)
    plain = list(recomputed(found, stored_nowhere(CALIBRATION, Rules())))
    assert [made.decision for made in plain] == [None] * 3
    assert [made.result.spine_thou for made in plain] == pytest.approx(list(SPINES.values()), abs=0.5)
    assert [made.where for made in plain] == [kept.where for kept in found]
    assert [made.basis for made in plain] == [Basis()] * 3
    judged = list(recomputed(found, stored_nowhere(CALIBRATION, Rules(RULES))))
    assert [made.basis.standard for made in judged] == [None] * 3
    assert judged[0].basis.bands is not None
    by_plan = list(recomputed(found, stored_nowhere(CALIBRATION, Rules(RULES, PLAN))))
    assert [made.basis.standard for made in by_plan] == [None, None, "bar 7"]
    assert [made.basis.crack_hysteresis_pct for made in by_plan] == [1.5] * 3
    assert by_plan[0].decision.outcome is Outcome.ACCEPTED
    assert Rules(None, PLAN).basis_of(found[2]) == Basis()


def test_more_shafts_than_a_batch_all_come_in_order(archives, monkeypatch):
    monkeypatch.setattr(recompute, "BATCH", 1)
    found, _ = kept_in(archives[0])
    many = [*found] * 5
    again = list(recomputed(many, stored_nowhere(CALIBRATION, Rules())))
    assert [made.where.shaft for made in again] == [kept.where.shaft for kept in many]


@pytest.mark.slow
def test_what_was_made_again_stands_beside_what_was_there_and_is_stored_once(archives, store):
    found, _ = kept_in(*archives)
    first = store.begin_batch("blue", 0)
    add_result(store, found[0].where, batch=first)
    for stored, unchanged in ((3, 0), (0, 3)):
        beside = BesideOld(store, RULES, PLAN, lambda: 77)
        made = list(recomputed(found, beside.judging(CALIBRATION)))
        assert (beside.stored, beside.unchanged) == (stored, unchanged)
        assert made[0].decision.outcome is Outcome.ACCEPTED
    assert store.calibrations() == {CALIBRATION.calibration.id: KeptCalibration.of(CALIBRATION)}
    assert len(store.history(1)) == 2
    assert store.latest(1).batch == first
    batches = {store.latest(shaft).batch for shaft in (2, 3)}
    assert len(batches) == 1  # one new batch for all that the store did not know
    assert batches != {first}
    assert [store.latest(shaft).origin for shaft in (1, 2)] == [Origin.MEASURED, Origin.IMPORTED]
    assert (store.latest(2).made_ms, store.latest(3).basis.standard) == (77, "bar 7")
    another = BesideOld(store, RULES, PLAN, lambda: 78)
    moved = [replace(kept, where=replace(kept.where, started_ms=1)) for kept in found[:1]]
    list(recomputed(moved, another.judging(CALIBRATION)))
    assert another.stored == 1


def test_a_standard_once_judged_as_such_stays_one_though_its_label_is_not_in_the_plan(archives, store):
    found, _ = kept_in(archives[1])
    list(recomputed(found, BesideOld(store, RULES, PLAN, lambda: 1).judging(CALIBRATION)))
    list(recomputed(found, BesideOld(store, RULES, None, lambda: 2).judging(CALIBRATION)))
    assert store.latest(3).basis.standard == "bar 7"
