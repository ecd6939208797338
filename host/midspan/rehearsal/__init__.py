"""The simulated gauge as a port: the real device code over simulated physics, and the scenarios it plays.

process.py runs it, scenario.py and scenario_night.py say what is in it; the physics are in device/rehearsal. Imports
base, wire and link.
"""
