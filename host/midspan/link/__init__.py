"""The conversation with one gauge: a session without port, clock or thread, the serial port, and the Gauge over both.

What a session does in which state is the table of session_states.py; what a person asks of a gauge is a method in
gauge.py. Imports base, wire and archive.
"""
