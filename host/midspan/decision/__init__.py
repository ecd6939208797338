"""What a result is worth: bands, the rule at a limit, verdicts, concerns that stay with a shaft, the risk of a rule.

Imports base, uncertainty, wire, archive, measurement and hand_bench.
"""
