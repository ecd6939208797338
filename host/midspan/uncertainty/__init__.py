"""Uncertainty of any quantity: the budget of the GUM, Monte Carlo trials (JCGM 101), and comparison of two results.

The causes themselves are listed in measurement/spine_budget.py and hand_bench/conversion.py. Imports base.
"""
