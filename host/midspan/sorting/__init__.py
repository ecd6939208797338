"""Sort a stock overnight: plan, next action, check standards, health, notices; and turn a shaft for marking.

A new step of a run is an action in actions.py, decided in next_action.py and carried out in execute.py. A new alarm
about the gauge goes into gauge_health.py. Imports base, uncertainty, wire, archive, link, measurement, decision, store,
pipeline and study.
"""
