"""Numbers that mark a database of results and the versions of its tables; importing them costs nothing."""

APPLICATION_ID = 0x4D696473  # "Mids"; SQLite files name their program by this number
NEWEST = 9  # newest revision; `user_version` of a database is its own revision
OLDEST = 2  # first released revision; revisions before 5 have no record by alembic
