"""The same quantities from a dead weight and a dial: readings a person types, their checks, fit, budget and result.

Imports base, uncertainty and measurement.
"""
