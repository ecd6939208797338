"""The database of results, the only place with SQL: tables and migrations, runs, results, verdicts, sets, the journal.

Imports base, wire, archive, measurement, hand_bench and decision.
"""
