"""Studies of gauge and stock: repeatability and reproducibility, linearity, stability, control charts, population.

A new rule of a control chart is a row of RULES in control_chart.py. Imports base, uncertainty, measurement, decision,
store, calibrate and sets.
"""
