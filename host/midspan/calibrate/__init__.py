"""Procedures that make a calibration file: force, travel, frame, span, rotation, filter; reference bar.

A new procedure has its fit in a module of its own, beside span.py; its columns go into readings_table.py, taking its
readings into a guided_*.py, what it asks first into asked_first.py, its place into order.py, its part of the file into
calibration_file.py. Imports base, conversation, uncertainty, wire, archive, link, rehearsal, measurement, hand_bench
and pipeline.
"""
