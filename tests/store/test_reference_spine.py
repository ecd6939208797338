"""Spines of older results under the reference condition: the shaft that turned, its supports, what cannot be converted.

The departure from the line begins with 72/7 (normal reactions) and 108/35 (vertical ones) times (d/L)^2: terms of the
elastica (L. D. Landau and E. M. Lifshitz, Theory of Elasticity, section 19), derived apart from the code under test.
"""

import math

import pytest
from midspan.base.errors import ConversionError
from midspan.base.units import MM_PER_THOU, STANDARD
from midspan.measurement.calibration import EXAMPLE
from midspan.measurement.definition import DEFINITION, OLDER_DEFINITION, assigned_under_reference
from midspan.measurement.elastica import deflection_mm, stiffness_between
from midspan.measurement.result_form import ResultKind
from midspan.measurement.spine_budget import LARGEST_SHEAR_SHARE
from midspan.store.kept_calibration import KeptCalibration
from midspan.store.reference_spine import EARLIER_NORMAL, StatedSpine, conversions, under_reference
from midspan.store.stock_records import StockRecords
from midspan.study.source import from_labels
from results import told
from stores import add_result, run_of

LOW_N, HIGH_N, GIVE = 0.1 * STANDARD.load_n, STANDARD.load_n, 0.01


def knife_edges(span_mm=STANDARD.span_mm, **span):
    """Return kept calibrations with one of knife edges, on which no wall gives."""
    section = {"span_mm": span_mm, "u_span_mm": 0.05, "rim_mm": 0.0, "sink_mm_per_n": 0.0, **span}
    frame = {"give_mm_per_n": GIVE, "u_give_mm_per_n": 0.0}
    identity = EXAMPLE["calibration"] | {"id": "knife"}
    return {"knife": KeptCalibration({**EXAMPLE, "calibration": identity, "frame": frame, "span": section})}


KNIFE = knife_edges()


def spine_of(result, calibrations):
    """Return the spine of a result under the reference condition, thou."""
    return under_reference(result, calibrations)[0]


def older(spine_thou, support, *, span_mm=STANDARD.span_mm, **named):
    """Return the older result of a shaft of this spine that lay on frictionless supports, read for `support`."""
    stiffness = stiffness_between((0.0, STANDARD.load_n), spine_thou * MM_PER_THOU, STANDARD.span_mm)
    low, high = (deflection_mm(force, span_mm, stiffness) for force in (LOW_N, HIGH_N))
    read = stiffness_between((LOW_N, HIGH_N), high - low, span_mm, support)
    stated = float(deflection_mm(STANDARD.load_n, STANDARD.span_mm, read, support)) / MM_PER_THOU
    travel = float(high - low) + GIVE * (HIGH_N - LOW_N)
    known = {
        "calibration": "knife",
        "light_load_n": LOW_N,
        "load_n": HIGH_N,
        "travel_mm": travel,
        "give_mm_per_n": GIVE,
        "span_mm": span_mm,
    }
    return told(definition=None, spine_thou=stated, u_spine_thou=0.2, **known, **named)


@pytest.mark.parametrize("spine_thou", [200.0, 500.0, 1000.0, 1500.0])
@pytest.mark.parametrize("span_mm", [STANDARD.span_mm, 650.0])
def test_an_older_result_of_a_shaft_that_turned_comes_back_to_its_spine(spine_thou, span_mm):
    result = older(spine_thou, "between", span_mm=span_mm)
    found = spine_of(result, knife_edges(span_mm))
    if span_mm == STANDARD.span_mm:
        assert found == pytest.approx(spine_thou, abs=1e-6)
        ratio = spine_thou * MM_PER_THOU / STANDARD.span_mm
        series = 0.11 * (72 / 7 - 108 / 35) / 2 * ratio**2 * spine_thou
        assert result.spine_thou - spine_thou == pytest.approx(series, rel=0.2)
    else:
        shear = LARGEST_SHEAR_SHARE / 2 * ((STANDARD.span_mm / span_mm) ** 2 - 1)  # what only another span shows
        assert found == pytest.approx(spine_thou * (1 - shear), rel=2e-5)


def test_the_supports_of_its_calibration_say_for_what_an_older_result_is_stated():
    shares = {(0.0, 0.0): "normal", (1.0, 1.0): "vertical", (0.0, 0.5): 0.25}
    for share, support in shares.items():
        result = older(500.0, support, vertical_share=share)
        assert spine_of(result, KNIFE) == pytest.approx(500.0, abs=1e-6)
    assert StatedSpine.of(older(500.0, "normal", vertical_share=(0.0, 0.0))).stated_for == EARLIER_NORMAL
    assert StatedSpine.of(older(500.0, "between")).stated_for == OLDER_DEFINITION
    assert StatedSpine.of(told(spine_thou=500.0)).stated_for == DEFINITION


def test_rims_of_the_calibration_are_taken_off_an_older_result():
    ratio, rim_mm = 12.7 / STANDARD.span_mm, 4.0
    found = spine_of(older(500.0, "normal"), knife_edges(rim_mm=rim_mm))
    _, u = under_reference(older(500.0, "normal"), knife_edges(rim_mm=rim_mm, u_rim_mm=2.0))
    assert u**2 - 0.2**2 > ((found - 500.0) / 2) ** 2  # half of the correction is not known, nor is what walls give
    # The slope between a tenth and the whole of the load sees 1.1 times what the whole load shows.
    assert found - 500.0 == pytest.approx(500.0 * 13.5 * 1.1 * rim_mm / STANDARD.span_mm * ratio, rel=0.1)


def test_a_result_without_its_loads_is_taken_as_one_of_the_usual_cycle():
    whole = older(500.0, "between")
    bare = told(definition=None, calibration="knife", give_mm_per_n=GIVE, spine_thou=whole.spine_thou, u_spine_thou=0.2)
    assert spine_of(bare, KNIFE) == pytest.approx(500.0, abs=0.02)
    hand = told(ResultKind.HAND_BENCH, definition=None, spine_thou=500.0, u_spine_thou=0.2)
    assert under_reference(hand, {}) is None  # nothing is known of its edges


def test_what_cannot_be_converted_is_not_a_number_and_keeps_no_other_from_it():
    stated = [
        StatedSpine.of(result)
        for result in (
            told(definition="of a version to come", spine_thou=500.0),
            told(definition=None, spine_thou=9000.0),
            told(definition=None, spine_thou=-3.0),
            older(500.0, "between"),
            told(spine_thou=500.0),
        )
    ]
    shifts = [found.shift_thou for found in conversions(stated, KNIFE)]
    assert [math.isnan(shift) for shift in shifts] == [True, True, True, False, False]
    assert (shifts[3] < 0, shifts[4]) == (True, 0.0)


def test_the_stock_has_all_its_spines_under_one_definition(store):
    store.keep_calibration(KNIFE["knife"])
    for shaft, result in enumerate((older(500.0, "between"), told(evaluation="3", spine_thou=500.0)), 1):
        add_result(store, run_of(shaft), result)
    add_result(store, run_of(3), told(definition="of a version to come", spine_thou=500.0))
    with StockRecords.of(store) as records:
        rows = records.standing()
    assert [row.spine_thou for row in rows[:2]] == pytest.approx([500.0, 500.0], abs=1e-6)
    assert math.isnan(rows[2].spine_thou)
    assert [row.definition for row in rows] == [OLDER_DEFINITION, DEFINITION, "of a version to come"]


@pytest.mark.parametrize("spine_thou", [500.0, 1000.0])
def test_an_older_assigned_value_covers_all_that_its_supports_can_have_been(spine_thou):
    ratio = spine_thou * MM_PER_THOU / STANDARD.span_mm
    half = (72 / 7 - 108 / 35) / 2 * ratio**2 * spine_thou
    spine, u = assigned_under_reference(spine_thou, 0.3, OLDER_DEFINITION)
    assert spine - spine_thou == pytest.approx(half, rel=0.05)
    assert u == pytest.approx(math.hypot(0.3, half / math.sqrt(3)), rel=0.05)
    assert assigned_under_reference(spine_thou, 0.3, DEFINITION) == (spine_thou, 0.3)
    with pytest.raises(ConversionError) as caught:
        assigned_under_reference(spine_thou, 0.3, "as it lay")
    assert caught.value.code == "unknown_definition"


def test_a_study_reads_all_spines_under_one_definition(store):
    store.keep_calibration(KNIFE["knife"])
    add_result(store, run_of(1, "bar", at_ms=1), older(500.0, "between", gauge="attic"))
    add_result(store, run_of(1, "bar", offset=3, at_ms=2), told(gauge="attic", spine_thou=500.0, u_spine_thou=0.2))
    readings = from_labels(store, ["bar"], "spine_thou")
    assert [reading.value for reading in readings] == pytest.approx([500.0, 500.0], abs=1e-6)
    assert [reading.converted for reading in readings] == [True, False]
