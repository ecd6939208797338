"""The byte contract as the host has it: the Avro schema, records, frames, and the device's faults in words.

A new record, field or fault begins in protocol/, its words in protocol/faults.json; `make records` then makes
records.py anew, which nobody edits. Imports base.
"""
