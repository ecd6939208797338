"""Tools that know nothing of shafts: errors, files and what people write in them, units, numbers in words, polynomials.

How a value stands beside its uncertainty is decided in formatting.py. Imports no other folder.
"""
