"""The command line: one file a group of commands. The only place that prints to a terminal.

Imports all.
"""
