"""Combination of uncertainty causes: the budget of the GUM and Monte Carlo trials (JCGM 101), for any quantity.

The causes themselves are listed in measurement/spine_budget.py and hand_bench/conversion.py. Imports base.
"""
