"""The byte contract with the gauge: Avro schema, records, frames, and the texts of its faults.

A new record, field or fault begins in protocol/, with its text in protocol/faults.json. `make records` then writes
records.py, which is never edited by hand. Imports base.
"""
