"""The folder in which a maker works: its midspan.toml, what is set in it, and what is missing next.

Imports base, conversation, wire, archive, measurement, hand_bench, decision, store, calibrate, study and sorting.
"""
