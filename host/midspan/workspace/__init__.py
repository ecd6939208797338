"""The folder in which a maker works: its midspan.toml, what is set in it, and what is missing next.

settings.py has the file, found.py finds it from any folder below. Imports base, conversation, wire, archive,
measurement, hand_bench, decision, store, calibrate, sets, study and sorting.
"""
