"""What people read and keep: tables, pages, pictures, labels, cards, exports. It works on values, never on a gauge.

A new picture is a module plot_*.py on the sheet of picture.py, and a command in cli/plot.py. A new column of an
export is a row of export_columns.py; what a label says, and in which unit, is in labels.py. Imports base,
uncertainty, wire, archive, measurement, hand_bench, decision, store, calibrate, sets, study and sorting.
"""
