"""Questions about gauge and stock: repeatability and reproducibility, linearity, stability, control charts, population.

Imports base, uncertainty, measurement, decision, store, calibrate and sets.
"""
