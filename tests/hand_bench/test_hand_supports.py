"""Real supports of a hand bench: round edges, friction, soft walls; their law, their sizes, and coverage with them."""

import json
import math
import shutil

import numpy as np
import pytest
from commands_rig import midspan
from drawn_benches import SUPPORTS, drawn, stated
from hand_rig import TrueBench, bench_file, measure, on_edges, readings, result_of, rounded, write
from midspan.base.errors import ConversionError
from midspan.hand_bench.bench import EXAMPLE, HandBench
from midspan.hand_bench.bent_on_edges import Edges
from midspan.hand_bench.conversion import BenchLoad
from midspan.hand_bench.record import HandRecord, HandShaft, ShaftAndRoom
from midspan.hand_bench.sessions import sessions
from midspan.hand_bench.supports import BenchSupports
from midspan.measurement.definition import DEFINITION
from midspan.uncertainty.budget import coverage_factor
from midspan.uncertainty.comparison import agreement_of
from places import DATA
from scipy.stats import binom
from stores import store_in
from synthetic import SPAN_MM, Shaft, spine_around

COMPUTED = json.loads((DATA / "elastica_on_edges.json").read_text(encoding="utf-8"))
EDGES = {
    "normal": (0.0, 0.0), "mu 0.1 loading": (0.1, 0.0), "mu 0.1 unloading": (-0.1, 0.0), "mu 0.2 loading": (0.2, 0.0),
    "mu 0.2 unloading": (-0.2, 0.0), "rho/L 0.01": (0.0, 0.01), "rho/L 0.02": (0.0, 0.02),
}  # fmt: skip
ROUND = np.radians(np.arange(360.0))


@pytest.mark.parametrize("name", EDGES)
def test_a_shaft_on_edges_bends_as_was_computed_elsewhere(name) -> None:
    friction, rolling = EDGES[name]
    line = np.array(COMPUTED["delta_lin_over_L"])
    expected = [row[COMPUTED["columns"].index(name)] for row in COMPUTED["relative_departure"]]
    edges, stiffness = Edges(SPAN_MM, rolling * SPAN_MM, friction), 5e6
    load_n = 48 * line * stiffness / SPAN_MM**2
    found = edges.deflection_mm(load_n, stiffness) / SPAN_MM / line - 1
    assert found == pytest.approx(expected, abs=1e-6)
    assert edges.stiffness((0.0, load_n), edges.deflection_mm(load_n, stiffness)) == pytest.approx(stiffness, rel=1e-10)
    light = edges.deflection_mm(0.1 * load_n, stiffness)
    travel = edges.deflection_mm(load_n, stiffness) - light
    assert edges.stiffness((0.1 * load_n, load_n), travel) == pytest.approx(stiffness, rel=1e-10)
    assert on_edges(friction, rolling)(48 * line) / line - 1 == pytest.approx(expected, abs=1e-6)  # the rig's own


@pytest.mark.parametrize("travel_mm", [0.0, -1.0, math.nan, 80.0])
def test_what_no_shaft_does_has_no_stiffness(travel_mm) -> None:
    with pytest.raises(ConversionError):
        Edges(SPAN_MM, 6.0, 0.1).stiffness((0.0, 8.6), travel_mm)


@pytest.mark.parametrize(
    ("truth", "at_500", "at_1000"),
    [({"friction": 0.1}, -2.15, -8.67), ({"rolling_mm": 5.0}, -0.85, -3.5), ({"rolling_mm": 2.5}, -0.43, -1.7)],
)
def test_what_edges_cost_that_a_bench_file_does_not_know(truth, at_500, at_1000) -> None:
    """Compare with the leading terms, -2.4 mu d / L and -13.5 (rho / L) (d / L), and with exact figures at 1000."""
    believed = BenchLoad(0.0, HandBench.model_validate(bench_file()).load_n, SPAN_MM, 0.0, 0.0, 0.0)
    for spine, expected in ((500.0, at_500), (1000.0, at_1000)):
        typed = readings(Shaft(spine, 0.0), TrueBench(**{"rolling_mm": 0.0} | truth))
        sag = np.array([float(each.loaded) - float(each.unloaded) for each in typed])
        assert float(believed.thou(sag).mean()) - spine == pytest.approx(expected, abs=0.02 * abs(expected) + 0.02)


def test_what_the_file_knows_of_edges_and_friction_is_taken_off() -> None:
    truth = TrueBench(rolling_mm=6.1, friction=0.05, give_mm_per_n=5e-4, span_mm=SPAN_MM * (1 + 5 * 2.34e-5))
    content = bench_file(
        supports={"rollers": False, "before_reading": "tap", "friction": 0.2, "edge_radius_mm": 3.0},
        shafts={"sink_mm_per_n": 5e-4}, span={"temperature_c": 20.0, "expansion_per_k": 2.34e-5},
    )  # fmt: skip
    typed = readings(Shaft(700.0, 6.0), truth)
    result = result_of(typed, content, at=ShaftAndRoom(6.2, 25.0))
    assert result.spine_thou == pytest.approx(700.0, abs=0.02)
    assert (result.definition, result.temperature_c, result.diameter_mm) == (DEFINITION, 25.0, 6.2)


def test_rollers_a_tap_and_a_turn_each_leave_less_friction() -> None:
    left = [
        BenchSupports(rollers=rollers, before_reading=before).friction_left
        for rollers, before in ((False, "nothing"), (False, "tap"), (True, "nothing"), (False, "turn"))
    ]
    largest = [value + math.sqrt(3) * u for value, u in left]
    assert largest == pytest.approx([0.2, 0.1, 0.02, 0.005 * math.sqrt(3)])
    assert BenchSupports(friction=0.001, before_reading="turn").friction_left[1] < 0.001


def test_what_is_kept_of_a_file_from_before_these_keys_is_what_was_kept_then() -> None:
    old = {name: values for name, values in EXAMPLE.items() if name != "supports"}
    kept = HandBench.model_validate(old).content()
    assert set(kept) == {*old, "frame"}
    assert set(kept["span"]) == {"span_mm", "u_span_mm"}
    assert "tip_beside_mm" not in kept["indicator"]
    assert HandBench.model_validate(kept).content() == kept


def covered(name, number, folder, seed=21):
    """Return the shares of spines, spreads and stiff sides within U, of sessions made again by `hand recompute`."""
    rng, shafts = np.random.default_rng(seed), []
    record = HandRecord(folder / "hand-readings.jsonl")
    for i in range(number):
        content, at, shaft, truth = drawn(name, rng)
        place = record.begin(content, HandShaft(i, f"drawn {i}", "", at), started_ms=i)
        for each in readings(shaft, truth, rng):
            record.keep(place, each)
        record.end(place)
        shafts.append(shaft)
    done = midspan("hand", "recompute", folder=folder)
    assert not done.returncode, done.stderr
    hits = {"spine": [], "spread": [], "stiff side": [], "u": []}
    with store_in(folder).open(create=False) as store:
        results = {each.run.shaft: each.result for (each,) in store.versions()}
    for i, shaft in enumerate(shafts):
        result, around = results[i], spine_around(shaft, ROUND)
        hits["u"].append(result.budget.expanded())
        hits["spine"].append(abs(result.spine_thou - around.mean()) < result.budget.expanded())
        u_spread = coverage_factor(result.dof_spread or math.inf) * result.u_spread_thou
        hits["spread"].append(abs(result.spread_thou - np.ptp(around)) < u_spread)
        if result.stiff_side_deg is not None:
            off = (result.stiff_side_deg - shaft.stiff_side_deg + 90) % 180 - 90
            hits["stiff side"].append(abs(off) < coverage_factor(result.repeat_dof) * result.u_stiff_side_deg)
    return {what: float(np.mean(found)) for what, found in hits.items()}


@pytest.mark.slow
@pytest.mark.parametrize("name", SUPPORTS)
def test_the_budget_covers_the_truth_on_real_supports(name, tmp_path) -> None:
    """Draw every error of hundreds of benches by mechanics of their own; 95 % of the intervals contain the truth.

    Where a bound on friction decides, U covers a little more, for a rectangle has no tails.
    """
    found = covered(name, 400, tmp_path)
    least, most = binom.ppf((0.002, 0.998), 400, 0.95) / 400
    assert least <= found["spine"] <= (1.0 if name in ("unstated", "fixed and tapped") else most)
    assert least <= found["spread"] <= most
    assert least - 0.01 <= found["stiff side"] <= most


@pytest.mark.slow
def test_a_shaft_on_fixed_pins_has_its_spine_the_way_a_user_goes(tmp_path) -> None:
    """Go the way of a user: a bench file, typed readings, `hand measure`, `show --json`, E_n with the truth."""
    rows = [f"[{name}]\n" + "".join(f"{key} = {json.dumps(value)}\n" for key, value in section.items())
            for name, section in stated("fixed and tapped").items()]  # fmt: skip
    (tmp_path / "hand-bench.toml").write_text("\n".join(rows), encoding="utf-8")
    truth = TrueBench(rolling_mm=2.0 + 3.1, friction=0.06, give_mm_per_n=4.5e-4, noise=0.008, span_mm=SPAN_MM)
    write(tmp_path, rounded(readings(Shaft(500.0, 3.0), truth, np.random.default_rng(5))))
    done = measure(tmp_path, "--diameter", 6.2, "--temperature", 21.5)
    assert not done.returncode, done.stderr
    told = json.loads(midspan("show", "bar-1", "--json", folder=tmp_path).stdout)
    assert (told["definition"], told["temperature_c"], told["diameter_mm"]) == (DEFINITION, 21.5, 6.2)
    assert told["u_spine_thou"] < 1.1
    assert agreement_of(told["spine_thou"], told["u_spine_thou"], 500.0, 0.2).holds


@pytest.mark.slow
def test_readings_of_an_older_version_are_made_again_with_cautious_supports(tmp_path) -> None:
    """Take readings typed before bench files spoke of supports: fixed edges, whose friction nothing released."""
    shutil.copy(DATA / "e0bd664" / "hand-readings.jsonl", tmp_path)
    assert not midspan("hand", "recompute", folder=tmp_path).returncode
    with store_in(tmp_path).open(create=False) as store:
        results = [each.result for (each,) in store.versions()]
    (session, *_) = sessions(tmp_path / "hand-readings.jsonl")
    plain = np.mean([float(each.loaded) - float(each.unloaded) for each in session.typed]) / 0.0254
    for result in results:
        assert (result.evaluation, result.definition, result.diameter_mm) == ("hand 3", DEFINITION, None)
        assert 2.5 < result.budget.expanded() < 3.2
    # Friction of 0.1, edges and shaft of 6.1 mm and the walls, by their leading terms; and the air's lift.
    d = results[0].deflection_mm / SPAN_MM
    leading = 500 * (2.4 * 0.1 * d + 13.5 * 6.125 / SPAN_MM * d) - 5e-4 * 8.63 / 0.0254 + 500 * 1.5e-4
    assert results[0].spine_thou - plain == pytest.approx(leading, abs=0.1)
