"""Procedures that make a calibration file: force, travel, frame, span, rotation, reference bar, and their readings.

A new procedure has its fit in a module of its own, beside span.py; its columns stand in readings_table.py, the taking
of its readings in procedures.py, what the file gets from it in calibration_file.py. Imports base, uncertainty, wire,
archive, link, rehearsal, measurement, hand_bench and pipeline.
"""
