"""The simulated gauge as a port: starts the real device code over simulated physics, and the scenarios that it plays.

Imports base, wire and link.
"""
