"""Stock and matched sets: who may be taken, which shaft has two numbers, how a set is chosen, completed and reviewed.

Weights and the scale are here too. Imports base, uncertainty, measurement, hand_bench, decision and store.
"""
