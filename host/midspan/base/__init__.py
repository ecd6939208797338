"""Know nothing of shafts: errors, files and what people write in them, units, numbers in words, polynomials.

Imports no other folder.
"""
