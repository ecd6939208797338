"""Studies of gauge and stock: repeatability and reproducibility, linearity, stability, control charts, groups compared.

A new rule of a control chart is a row of RULES in control_chart.py. group_comparison.py says how groups of shafts
differ, two_samples.py has the statistics of it. Imports base, uncertainty, measurement, decision, store, calibrate and
sets.
"""
