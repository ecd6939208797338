"""The database of results, the only place with SQL: tables and migrations, runs, results, verdicts, sets, the journal.

A new table or column goes into tables.py, with a revision in migrations/versions that makes it. Imports base, wire,
archive, measurement, hand_bench and decision.
"""
