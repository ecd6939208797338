"""SQLite database of results and the only folder with SQL: runs, results, verdicts, sets and the journal of sorting.

A new table or column goes into tables.py, together with a revision in migrations/versions that creates it. Imports
base, wire, archive, measurement, hand_bench and decision.
"""
