"""Archives of raw runs, kept for ever: Avro files that survive a crash while being written and can be read past damage.

The content of a raw run is defined in protocol/raw_run.avsc and encoded by raw_run_codec.py. Imports base and wire.
"""
