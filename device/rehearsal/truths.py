"""The true values of a careful maker's gauge, taken where the scenario gives no others; README.md explains each."""

from frame_table import FRAME

COUNT_PER_N = 1070 / 0.00980665  # 1070 counts per gram-force: 2 kg cell of 1 mV/V at gain 128 and 4.3 V

GAUGE = {
    "reactions": "normal", "press_scale_error": 0.0, "screw_periodic_mm": 0.004, "screw_periodic_deg": 30.0,
    "rotate_steps_per_turn": 3200.0, "slip": 0.003, "slip_jump_deg": 0.0, "slip_jump_chance": 0.0,
    "index_mark": False,
    "zero_count": 50000.0, "count_per_n": COUNT_PER_N, "count_per_n2": 0.0, "zero_drift_count_per_s": 2.0,
    "noise_count": 45.0, "creep": 0.0002, "creep_s": 300.0,
    "spike_chance": 0.0, "spike_count": 200000.0, "repeat_chance": 0.0, "drop_chance": 0.0,
    "interval_us": 12500.0, "rate_error": 0.015, "jitter_us": 15.0, "filter": "average4",
    "start_mm": 2.0, "home_switch_broken": None, "pull_in_steps_s": 16000.0, "free_bytes": None,
    "hang_at_n": None, "hang_s": 0.0, "watchdog_ms": 3000, "gravity_m_s2": 9.80665, "air_kg_m3": 0.0,
}  # fmt: skip
GAUGE.update(FRAME)

# What is not as it should be on any real gauge.
SINS = {
    "roller_oval_mm": 0.001, "slip_per_n": 1.3e-4, "skid_deg": 0.0, "skid_at_deg": 90.0,
    "friction": 0.15, "friction_slide_mm": 0.003, "friction_roll_deg": 3.0, "axial_friction_left": 0.0025,
    "off_centre_mm": 0.5, "tilt_deg": 0.25, "microstep_mm": 0.0004,
    "mark_scatter_deg": 0.1, "mark_offset_deg": 0.2,
    "temperature_c": 21.0, "calibrated_at_c": 21.0, "cell_per_k": 3.0e-5, "warmup_n": 0.001, "warmup_s": 5.0,
    "shaft_creep": 1.0e-4, "shaft_creep_s": 10.0,
}  # fmt: skip
GAUGE.update(SINS)
