"""The gauge's quantities from a dead weight and a dial: typed readings, their checks, fit, budget and result.

A new cause of uncertainty of the bench goes into conversion.py, and into monte_carlo.py, which checks the budget.
Imports base, conversation, uncertainty and measurement.
"""
