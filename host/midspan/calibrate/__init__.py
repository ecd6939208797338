"""Procedures that make a calibration file: force, travel, frame, span, rotation, reference bar, and their readings.

Imports base, uncertainty, wire, archive, link, rehearsal, measurement, hand_bench and pipeline.
"""
