"""Combine causes of uncertainty as the GUM does, and by Monte Carlo (JCGM 101), whatever is measured.

Imports base.
"""
