"""Garbage for every door of the command line: made by kind and seed, and what a command makes of it."""
