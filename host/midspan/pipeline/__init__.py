"""The way of each run from the gauge to its verdict: keep, evaluate, decide, store, acknowledge; and shaft after shaft.

Whatever measures goes this way: steps.py says what happens at each step, on failure and on Ctrl-C. Imports base,
wire, archive, link, measurement, decision and store.
"""
