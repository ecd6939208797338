"""A pack for the person who helps: versions, settings, log, trace and facts of the database, without secrets and names.

A new part of the pack belongs in collect.py; scrub.py and known_words.py decide what any part may contain. Imports
base, wire, link, measurement, hand_bench, decision, store, calibrate, sets, sorting, workspace, backup and
report.
"""
