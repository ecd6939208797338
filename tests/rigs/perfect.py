"""A simulated gauge without the imperfections that no test about other matters asks for."""

PERFECT = {
    "rim_radius_mm": None, "roller_runout_mm": 0.0, "roller_oval_mm": 0.0, "slip_per_n": 0.0, "skid_deg": 0.0,
    "friction": 0.0, "axial_friction_left": 0.0, "sink_mm_at_standard": 0.0, "off_centre_mm": 0.0, "tilt_deg": 0.0,
    "microstep_mm": 0.0, "side_share": 0.0, "mark_scatter_deg": 0.0, "mark_offset_deg": 0.0,
    "temperature_c": 21.0, "calibrated_at_c": 21.0, "warmup_n": 0.0, "shaft_creep": 0.0,
}  # fmt: skip


def perfect(scenario):
    """Return a scenario whose gauge has none of them but those that the scenario asks for."""
    return scenario | {"gauge": PERFECT | scenario.get("gauge", {})}
