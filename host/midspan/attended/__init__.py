"""A person at the gauge: shaft after shaft, each with a verdict, a label and a number, until the person ends it.

The session owns the gauge and asks by prompts (conversation); the terminal is one client of it. Imports base,
conversation, measurement, decision, hand_bench, link, archive, wire, store, pipeline, study, sets and sorting.
"""
