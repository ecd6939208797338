"""A pack for whoever helps: versions, settings, log, trace and facts of the database, without secrets and names.

What may stand in it is decided in scrub.py and known_words.py, what is looked for in collect.py. Imports base, wire,
link, measurement, hand_bench, decision, store, calibrate, sets, sorting, backup and report.
"""
