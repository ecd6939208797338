"""Tools without domain knowledge: errors, files, configuration, units, numbers as text, polynomials, the log.

formatting.py decides how a value is written with its uncertainty. Imports no other folder.
"""
