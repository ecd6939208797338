"""Copy a database with all its files into a backup, and restore it on this computer or another.

Module belongings decides which files belong to a database. Imports base, archive, measurement, hand_bench, decision,
store and sorting.
"""
