"""From raw counts to static spine with its uncertainty: calibrated columns, harmonic fit, elastica, budget, result.

A new cause of uncertainty goes into spine_budget.py, and into spine_monte_carlo.py as its check; a new quantity into
quantities.py, a new doubt into result.py. The calibration model is here, how one is made in calibrate/. Imports base,
uncertainty, wire and archive.
"""
