"""The conversation with one gauge: a session without port, clock or thread, the serial port, and the Gauge over both.

Imports base, wire and archive.
"""
