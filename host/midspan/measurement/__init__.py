"""From raw counts to static spine with its uncertainty: calibrated readings, harmonic fit, elastica, budget, result.

A new cause of uncertainty goes into spine_budget.py, and into spine_monte_carlo.py, which checks the budget. A new
quantity goes into quantities.py, a new doubt into result.py. The calibration model is here; making a calibration is in
calibrate/. A measuring cycle is planned here too: cycle_plan.py makes the steps of its program from settings, and
cycle_cost.py says what they take and give. What people read of a quantity, with its unit and its ±, comes from
shown_quantities.py alone. Imports base, uncertainty, wire and archive.
"""
