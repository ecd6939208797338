"""Raw runs kept for ever: how one is laid down in an Avro file, written so that a crash loses none, and read again.

Imports base and wire.
"""
