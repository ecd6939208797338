"""The five steps of a run from the gauge to its verdict: keep, evaluate, decide, store, acknowledge.

Everything that measures uses them: steps.py has the steps and what happens when one fails or Ctrl-C is pressed,
bench.py measures shaft after shaft with them. Imports base, wire, archive, link, measurement, decision and store.
"""
