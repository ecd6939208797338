"""Measuring many shafts, at the bench one by one or unattended: plan, next action, check standards, health, notices.

A new step of a run is an action of next_action.py, carried out in execute.py. Imports base, uncertainty, wire, archive,
link, measurement, decision, store and study.
"""
