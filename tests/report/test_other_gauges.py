"""One shaft on several gauges: which results are compared, under which definition, and what E_n says, by hand."""

import json
from dataclasses import replace

import numpy as np
import pytest
from commands_rig import midspan
from midspan.decision.decision import Decision, Outcome
from midspan.measurement.result import evaluate
from midspan.measurement.result_form import ResultKind
from midspan.report.other_gauges import other_gauges, other_gauges_json, other_gauges_words
from results import told
from stores import ACCEPTED, add_result, run_of, store_in
from synthetic import Gauge, Shaft, paper_calibration, raw_run

SICK = Decision(Outcome.INSTRUMENT_FAULT, ("noise",))


def on(gauge, spine_thou, u=0.2, *, kind=ResultKind.GAUGE, **values):
    """Return the result of a shaft on a gauge."""
    return told(kind, gauge=gauge, spine_thou=spine_thou, u_spine_thou=u, **values)


def compared(store, shaft=1):
    """Return gauge, rounded difference and rounded E_n of each other gauge."""
    found = other_gauges(store, store.latest(shaft))
    return [(each.gauge, round(each.compared.difference, 3), round(each.compared.e_n, 2)) for each in found]


def test_a_result_is_compared_with_the_newest_sound_one_of_each_other_gauge(store):
    add_result(store, run_of(1, offset=1), on("hand bench", 501.3, 0.41, kind=ResultKind.HAND_BENCH))
    add_result(store, run_of(1, offset=2), on("attic", 490.0))
    add_result(store, run_of(1, offset=3), on("attic", 500.0))
    add_result(store, run_of(1, offset=4), on("attic", 700.0), SICK)
    add_result(store, run_of(1, offset=5), on("attic", 600.0, doubts=["force scatters"]))
    add_result(store, run_of(1, offset=6), on("cellar", 500.62, 0.22))
    # -0.68 / (1.95996 * sqrt(0.22^2 + 0.41^2)) and 0.62 / (1.95996 * sqrt(0.22^2 + 0.2^2))
    assert compared(store) == [("attic", 0.62, 1.06), ("hand bench", -0.68, -0.75)]
    found = other_gauges(store, store.latest(1))
    assert [each["agrees"] for each in other_gauges_json(found)] == [False, True]
    assert len(list(other_gauges_words(found))) == 2


def test_numbers_of_one_label_are_one_shaft_and_an_older_result_is_converted_first(store):
    older = told(definition=None, gauge="attic", spine_thou=500.0, u_spine_thou=0.2, span_mm=711.2)
    add_result(store, run_of(7, "bar 7"), older)
    add_result(store, run_of(1, "bar 7"), on("cellar", 500.0))
    ((_, difference, _),) = compared(store)
    assert 0.3 < abs(difference) < 0.6  # rims and walls of a gauge about which nothing more is known
    add_result(store, run_of(2), on("cellar", 500.0))
    assert compared(store, 2) == []


def test_show_says_what_another_gauge_found(tmp_path):
    (shop_result,) = evaluate([raw_run(Shaft(), Gauge(), np.random.default_rng(3))], paper_calibration())
    with store_in(tmp_path).open() as store:
        add_result(store, run_of(1, offset=1), replace(shop_result, gauge="attic"), ACCEPTED)
        add_result(store, run_of(1, offset=2), shop_result, ACCEPTED)
    (other,) = json.loads(midspan("show", 1, "--json", folder=tmp_path).stdout)["other_gauges"]
    assert (other["gauge"], other["difference_thou"], other["E_n"], other["agrees"]) == ("attic", 0.0, 0.0, True)
    assert other["U_difference_thou"] == pytest.approx(1.96 * 2**0.5 * shop_result.u_spine_thou, rel=1e-3)
    assert "attic" in midspan("show", 1, folder=tmp_path).stdout
