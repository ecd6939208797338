"""Combine causes of uncertainty as the GUM does, and by Monte Carlo (JCGM 101), whatever is measured.

Which causes a spine has is not said here but in measurement/spine_budget.py and hand_bench/conversion.py. Imports
base.
"""
