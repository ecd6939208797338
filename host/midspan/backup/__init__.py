"""A database copied with all that belongs to it, and brought back on this computer or another.

Which files belong to it is decided in belongings.py. Imports base, archive, measurement, hand_bench, decision, store
and sorting.
"""
