"""The byte contract as the host has it: the Avro schema, records, frames, and the device's faults in words.

A new record or fault begins in protocol/; `make records` brings it into `records`, which is made whole. Imports base.
"""
