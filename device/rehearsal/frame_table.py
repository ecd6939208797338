"""Frame of the simulated gauge, made from hardware_notes/frame.toml by `make redraw`."""

FRAME = {
    "span_mm": 711.2,
    "contact_mm": 18.0,
    "frame_mm_per_n": 0.0118,
    "press_steps_per_mm": 400.0,
    "screw_lead_mm": 8.0,
    "backlash_mm": 0.03,
    "lift_n": 4.9,
    "drag_n": 2.0,
    "roller_mm": 30.0,
    "rim_radius_mm": 2.0,
    "roller_gap_mm": 1.0,
    "roller_runout_mm": 0.005,
    "sink_mm_at_standard": 0.0081,
    "side_share": 2.3e-05,
    "span_expansion_per_k": 2.34e-05,
    "screw_expansion_per_k": 1.17e-05,
}
