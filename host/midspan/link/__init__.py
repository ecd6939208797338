"""The conversation with one gauge: a session without port, clock or thread, the serial port, and the Gauge on both.

session_states.py has the table of what a session does in which state; gauge.py has a method for each thing that a
person asks of a gauge. Imports base, wire and archive.
"""
