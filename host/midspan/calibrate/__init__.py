"""Procedures that make a calibration file: force, travel, frame, span, rotation, filter; reference bar.

A new procedure has its fit in a module of its own, beside span.py; its columns go into readings_table.py, taking its
readings into procedures.py, its part of the file into calibration_file.py. Imports base, uncertainty, wire, archive,
link, rehearsal, measurement, hand_bench and pipeline.
"""
