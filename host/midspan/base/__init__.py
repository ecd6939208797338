"""Tools without domain knowledge: errors, files, configuration, units, numbers as text, polynomials, the log.

formatting.py writes a value with its uncertainty, shown_units.py holds the units in which people read quantities.
Imports no other folder.
"""
