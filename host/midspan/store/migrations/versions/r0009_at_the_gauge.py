"""Attended sessions, what is said of a shaft or a set, and measurements that do not count.

An attended session is a run in the journal whose shafts a person lays in: so its shafts draw their numbers where all
others do, and its check standards stand in the same chart.
"""

from alembic import op
from midspan.store.upgrade import only_grows

revision = "0009"
down_revision = "0008"

CHANGES = (
    "ALTER TABLE nights ADD COLUMN attended BOOLEAN NOT NULL DEFAULT 0",
    "CREATE TABLE details (id INTEGER NOT NULL, shaft INTEGER NOT NULL, at_ms INTEGER NOT NULL, kind VARCHAR NOT NULL, "
    "value VARCHAR, person VARCHAR NOT NULL, PRIMARY KEY (id))",
    "CREATE INDEX ix_details_shaft ON details (shaft)",
    "CREATE TABLE voids (id INTEGER NOT NULL, run_id INTEGER NOT NULL, at_ms INTEGER NOT NULL, void BOOLEAN NOT NULL, "
    "person VARCHAR NOT NULL, words VARCHAR NOT NULL, PRIMARY KEY (id), FOREIGN KEY(run_id) REFERENCES runs (id))",
    "CREATE INDEX ix_voids_run_id ON voids (run_id)",
    "CREATE TABLE set_details (id INTEGER NOT NULL, set_id INTEGER NOT NULL, at_ms INTEGER NOT NULL, "
    "kind VARCHAR NOT NULL, value VARCHAR, person VARCHAR NOT NULL, PRIMARY KEY (id), "
    "FOREIGN KEY(set_id) REFERENCES sets (id))",
    "CREATE INDEX ix_set_details_set_id ON set_details (set_id)",
)


def upgrade() -> None:
    """Add the tables, which only grow like all others, and the mark of an attended run."""
    for change in CHANGES:
        op.execute(change)
    only_grows(op.get_bind(), "details", "voids", "set_details")
