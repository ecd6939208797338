"""Installing the device code on a board, its configuration, and looking it over.

Imports base, uncertainty, wire, archive, link and measurement.
"""
