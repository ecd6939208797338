"""Stock and matched sets: the shafts that may be taken, how sets are chosen, completed and reviewed.

limits.py has the quantities and their limits, stock.py the shafts that may be taken, choose.py the search for sets.
Weights and the scale are here too. Imports base, uncertainty, measurement, hand_bench, decision and store.
"""
