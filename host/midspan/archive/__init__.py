"""Raw runs kept for ever: how one is laid down in an Avro file, written so that a crash loses none, and read again.

What a raw run holds begins in protocol/raw_run.avsc and goes through raw_run_codec.py. Imports base and wire.
"""
