"""Stock and matched sets: the shafts that may be taken, how sets are chosen, completed and reviewed.

limits.py has the quantities and their limits, stock.py the shafts that may be taken, choose.py the search for sets.
Weights and the scale are here too, and groups of shafts to compare: a new word for a group is a ConditionKind in
selection.py and a case in groups.py. Imports base, uncertainty, measurement, hand_bench, decision and store.
"""
