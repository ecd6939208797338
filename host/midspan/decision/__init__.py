"""Verdicts on results: bands, the decision rule at a limit, concerns that stay with a shaft, and the risk of a rule.

The bands file is described in bands.py, a verdict in decision.py, the concerns that a shaft keeps in concerns.py.
Imports base, uncertainty, wire, archive, measurement and hand_bench.
"""
