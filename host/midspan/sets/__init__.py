"""Stock and matched sets: who may be taken, which shaft has two numbers, how a set is chosen, completed and reviewed.

What the shafts of a set must have alike is in limits.py, who may be taken in stock.py, how sets are found in
choose.py. Weights and the scale are here too. Imports base, uncertainty, measurement, hand_bench, decision and store.
"""
