"""Checks of the solids: nothing overlaps, every screw holds, every made part can be made. Each returns its findings."""
