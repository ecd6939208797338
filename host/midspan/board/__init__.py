"""Installing the device code on a board, its configuration, and looking it over.

A new look at a running gauge goes into check.py, one at its bare pins into check_prompt.py. Imports base,
uncertainty, wire, archive, link and measurement.
"""
