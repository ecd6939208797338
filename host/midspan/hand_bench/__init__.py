"""The same quantities from a dead weight and a dial: readings a person types, their checks, fit, budget and result.

A new cause of uncertainty of the bench goes into conversion.py, and into monte_carlo.py as its check. Imports base,
uncertainty and measurement.
"""
