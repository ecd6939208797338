"""The simulated gauge as a port: starts the real device code over simulated physics, and the scenarios that it plays.

What a scenario holds is in scenario.py; the physics are not here but in device/rehearsal. Imports base, wire and
link.
"""
