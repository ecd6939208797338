"""The live page: who may look, what is shown, and how it follows the store while shafts are measured.

Imports what report imports, and link for the readings of the shaft that turns.
"""
