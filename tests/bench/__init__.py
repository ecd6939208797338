"""Figures of speed, size and accuracy, measured rather than promised."""
