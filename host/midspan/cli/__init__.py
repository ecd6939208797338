"""The command line: one file a group of commands. The only place that prints to a terminal.

A new command is a function in the file of its group, or in a new one that main.py adds; options that several share
stand in options.py. Imports all.
"""
