"""Put the device code on a board, set its configuration, and check its wiring.

A new check of a running gauge belongs in check.py, a check of its bare pins in check_prompt.py. Imports base,
conversation, uncertainty, wire, archive, link and measurement.
"""
