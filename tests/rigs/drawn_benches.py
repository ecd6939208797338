"""Hand benches drawn at random: what their files say, and what they truly are by mechanics of their own."""

import math

import numpy as np
from hand_rig import TrueBench, bench_file
from midspan.hand_bench.record import ShaftAndRoom
from synthetic import SPAN_MM, Shaft

MATERIALS = {  # how far the walls give on two edges, mm per N (Hertz), and creep of each decade, relative
    "aluminium": (1.5e-4, 0.0),
    "carbon": (4.5e-4, 2e-4),
    "steel": (1.0e-4, 0.0),
}
SCHOOL = {
    "weight": {"u_mass_g": 0.5},
    "indicator": {"graduation": 0.01, "u_error_mm": 0.006, "u_force_change_n": 0.006, "tilt_deg": 2.0},
    "frame": {"u_give_mm_per_n": 3e-4, "off_centre_mm": 2.0},
}
CAREFUL = {
    "weight": {"u_mass_g": 0.02},
    "place": {"u_gravity_m_s2": 1e-4},
    "span": {"u_span_mm": 0.03, "temperature_c": 20.0, "expansion_per_k": 2.34e-5},
    "indicator": {"graduation": 0.001, "u_error_mm": 0.0015, "u_force_change_n": 6e-4, "tilt_deg": 0.5,
                  "tip_beside_mm": 4.0},
    "frame": {"u_give_mm_per_n": 5e-5, "off_centre_mm": 0.5},
    "shafts": {"u_sink_mm_per_n": 1e-4, "u_creep_per_decade": 2e-4, "held_s": 10.0},
}  # fmt: skip
SUPPORTS = {
    # The file says nothing of supports or shafts.
    "unstated": (SCHOOL, {}),
    "fixed and tapped": (SCHOOL, {"before_reading": "tap", "edge_radius_mm": 2.0, "u_edge_radius_mm": 0.5}),
    "pins that turn": (SCHOOL, {"rollers": True, "edge_radius_mm": 3.0, "u_edge_radius_mm": 0.05}),
    "careful": (
        CAREFUL,
        {"rollers": True, "before_reading": "turn", "edge_radius_mm": 3.0, "u_edge_radius_mm": 0.05},
    ),
}


def stated(name):
    """Return the content of a bench file that says no more of supports and shafts than it is given here."""
    sections, supports = SUPPORTS[name]
    content = {key: dict(values) for key, values in bench_file().items() if key not in ("supports", "shafts")}
    del content["span"]["expansion_per_k"], content["indicator"]["tip_beside_mm"]
    for section, values in sections.items():
        content.setdefault(section, {}).update(values)
    if supports:
        content["supports"] = dict(supports)
    return content


def friction_in(supports, rng):
    """Return the friction that is left at a reading, by the mechanics of the bench and not by its file."""
    if supports.get("before_reading") == "turn":
        return rng.normal(0, 0.005)
    most = rng.uniform(0.0, 0.02) if supports.get("rollers") else np.clip(rng.normal(0.12, 0.04), 0.02, 0.22)
    return most * (rng.uniform(0.0, 0.5) if supports.get("before_reading") == "tap" else 1.0)


def drawn(name, rng, shaft=None):
    """Return the content of a bench file, what a session says, a shaft, and the true bench. None draws a shaft."""
    content, supports = stated(name), SUPPORTS[name][1]
    indicator, frame, weight = content["indicator"], content["frame"], content["weight"]
    sink, creep = MATERIALS[rng.choice(list(MATERIALS))]
    diameter, edge = rng.uniform(5.5, 9.0), rng.uniform(0.5, 4.0)
    if "edge_radius_mm" in supports:
        edge = max(rng.normal(supports["edge_radius_mm"], supports["u_edge_radius_mm"]), 0.1)
    warm, at = rng.normal(20.0, 2.0), ShaftAndRoom()
    if name == "careful":
        content["shafts"] |= {"u_creep_per_decade": creep}  # who has a bar of metal writes 0
        content["shafts"]["sink_mm_per_n"] = max(rng.normal(sink, content["shafts"]["u_sink_mm_per_n"]), 0.0)
        at = ShaftAndRoom(diameter + rng.normal(0, 0.04), warm + rng.normal(0, 1.0))
    shaft = shaft or Shaft(rng.uniform(250, 1100), rng.uniform(1, 12), rng.uniform(0, 180), 0.1)
    truth = TrueBench(
        mass_g=rng.normal(880, weight["u_mass_g"]),
        gravity=rng.normal(9.80665, content["place"].get("u_gravity_m_s2", 5e-4)),
        span_mm=rng.normal(SPAN_MM, content["span"]["u_span_mm"]) * (1 + 2.34e-5 * (warm - 20)),
        dial=(1 + rng.normal(0, indicator["u_error_mm"]) / (shaft.spine_thou * 0.0254))
        / math.cos(math.radians(rng.uniform(0, indicator["tilt_deg"]))),
        force_change_n=rng.normal(0, indicator["u_force_change_n"]),
        give_mm_per_n=rng.normal(0, frame["u_give_mm_per_n"]) + sink,
        off_centre_mm=rng.uniform(-1, 1) * frame["off_centre_mm"], tip_mm=rng.uniform(-4, 4),
        rolling_mm=edge + diameter / 2, friction=friction_in(supports, rng), crept=creep * abs(rng.normal(1, 0.5)),
        graduation=indicator["graduation"], noise=0.8 * indicator["graduation"],
    )  # fmt: skip
    return content, at, shaft, truth
