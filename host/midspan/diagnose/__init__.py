"""A pack for whoever helps: versions, settings, log, trace and facts of the database, without secrets and names.

A new part of the pack goes into collect.py; what may stand in any part is decided in scrub.py and known_words.py.
Imports base, wire, link, measurement, hand_bench, decision, store, calibrate, sets, sorting, backup and report.
"""
