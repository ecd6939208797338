"""What a result is worth: bands, the rule at a limit, verdicts, concerns that stay with a shaft, the risk of a rule.

What a bands file may ask is in bands.py, what makes a verdict in decision.py, what it remembers in concerns.py.
Imports base, uncertainty, wire, archive, measurement and hand_bench.
"""
