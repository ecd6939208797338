"""The live page: who may see it, what it shows, and how it follows the store while shafts are measured.

A new view has its values in a module view_*.py, its HTML in templates, its place in views.py and its address in
app.py. Imports base, uncertainty, wire, archive, link, measurement, hand_bench, decision, store, sets, sorting and
report.
"""
