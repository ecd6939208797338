"""Tables as they stood when migrations began: results, the journal of nights, matched sets, wishes.

Databases of the versions 2 to 5 were made without migrations. Each version added tables and changed none, so whatever
is missing is made and the rest is left as it is. A new database begins here too.
"""

from alembic import op
from midspan.store.upgrade import only_grows

revision = "0005"
down_revision = None

TABLES = (
    "CREATE TABLE IF NOT EXISTS batches (id INTEGER NOT NULL, name VARCHAR NOT NULL, started_ms INTEGER NOT "
    "NULL, PRIMARY KEY (id))",
    "CREATE TABLE IF NOT EXISTS calibrations (id VARCHAR NOT NULL, content VARCHAR NOT NULL, PRIMARY KEY (id))",
    "CREATE TABLE IF NOT EXISTS weights (id INTEGER NOT NULL, shaft INTEGER NOT NULL, at_ms INTEGER NOT NULL, "
    "weight_g DOUBLE NOT NULL, u_weight_g DOUBLE NOT NULL, PRIMARY KEY (id))",
    "CREATE TABLE IF NOT EXISTS marks (id INTEGER NOT NULL, shaft INTEGER NOT NULL, at_ms INTEGER NOT NULL, "
    "spent BOOLEAN NOT NULL, words VARCHAR NOT NULL, PRIMARY KEY (id))",
    "CREATE TABLE IF NOT EXISTS sets (id INTEGER NOT NULL, name VARCHAR NOT NULL, made_ms INTEGER NOT NULL, "
    "limits VARCHAR NOT NULL, like_id INTEGER, PRIMARY KEY (id), UNIQUE (name), FOREIGN KEY(like_id) "
    "REFERENCES sets (id))",
    "CREATE TABLE IF NOT EXISTS runs (id INTEGER NOT NULL, batch_id INTEGER NOT NULL, archive VARCHAR NOT "
    "NULL, byte_offset INTEGER NOT NULL, shaft INTEGER NOT NULL, label VARCHAR NOT NULL, started_ms INTEGER "
    "NOT NULL, PRIMARY KEY (id), UNIQUE (archive, byte_offset, shaft, started_ms), FOREIGN KEY(batch_id) "
    "REFERENCES batches (id))",
    "CREATE TABLE IF NOT EXISTS nights (id INTEGER NOT NULL, batch_id INTEGER NOT NULL, gauge VARCHAR NOT "
    'NULL, "plan" VARCHAR NOT NULL, begun_ms INTEGER NOT NULL, PRIMARY KEY (id), FOREIGN KEY(batch_id) '
    "REFERENCES batches (id))",
    "CREATE TABLE IF NOT EXISTS results (id INTEGER NOT NULL, run_id INTEGER NOT NULL, made_ms INTEGER NOT "
    "NULL, calibration VARCHAR, evaluation VARCHAR, spine_thou DOUBLE, u_spine_thou DOUBLE, spread_thou DOUBLE, "
    "u_spread_thou DOUBLE, spread_floor_thou DOUBLE, four_reading_thou DOUBLE, u_four_reading_thou DOUBLE, "
    "stiff_side_deg DOUBLE, u_stiff_side_deg DOUBLE, runout_mm DOUBLE, u_runout_mm DOUBLE, hysteresis_pct DOUBLE, "
    'u_hysteresis_pct DOUBLE, older_lb DOUBLE, u_older_lb DOUBLE, "full" VARCHAR, PRIMARY KEY (id), FOREIGN '
    "KEY(run_id) REFERENCES runs (id))",
    "CREATE TABLE IF NOT EXISTS passages (id INTEGER NOT NULL, night_id INTEGER NOT NULL, source VARCHAR NOT "
    "NULL, standard VARCHAR, ordered_ms INTEGER NOT NULL, PRIMARY KEY (id), FOREIGN KEY(night_id) REFERENCES "
    "nights (id))",
    "CREATE TABLE IF NOT EXISTS happenings (id INTEGER NOT NULL, night_id INTEGER NOT NULL, at_ms INTEGER NOT "
    "NULL, kind VARCHAR NOT NULL, code VARCHAR, shaft INTEGER, place INTEGER, words VARCHAR NOT NULL, PRIMARY "
    "KEY (id), FOREIGN KEY(night_id) REFERENCES nights (id))",
    "CREATE TABLE IF NOT EXISTS wishes (id INTEGER NOT NULL, night_id INTEGER NOT NULL, at_ms INTEGER NOT "
    "NULL, PRIMARY KEY (id), FOREIGN KEY(night_id) REFERENCES nights (id))",
    "CREATE TABLE IF NOT EXISTS decisions (result_id INTEGER NOT NULL, outcome VARCHAR NOT NULL, bin VARCHAR, "
    "reasons VARCHAR NOT NULL, PRIMARY KEY (result_id), FOREIGN KEY(result_id) REFERENCES results (id))",
    "CREATE TABLE IF NOT EXISTS steps (id INTEGER NOT NULL, passage_id INTEGER NOT NULL, at_ms INTEGER NOT "
    "NULL, stage VARCHAR NOT NULL, place INTEGER, passed INTEGER, archive_bytes INTEGER, result_id INTEGER, "
    "words VARCHAR, watched VARCHAR, PRIMARY KEY (id), FOREIGN KEY(passage_id) REFERENCES passages (id), "
    "FOREIGN KEY(result_id) REFERENCES results (id))",
    "CREATE TABLE IF NOT EXISTS checks (id INTEGER NOT NULL, passage_id INTEGER NOT NULL, standard VARCHAR "
    "NOT NULL, at_ms INTEGER NOT NULL, spine_thou DOUBLE, u_spine_thou DOUBLE, assigned_thou DOUBLE NOT NULL, "
    "u_assigned_thou DOUBLE NOT NULL, good BOOLEAN NOT NULL, reasons VARCHAR NOT NULL, calibration VARCHAR, "
    "PRIMARY KEY (id), FOREIGN KEY(passage_id) REFERENCES passages (id))",
    "CREATE TABLE IF NOT EXISTS suspects (passage_id INTEGER NOT NULL, check_id INTEGER NOT NULL, PRIMARY KEY "
    "(passage_id, check_id), FOREIGN KEY(passage_id) REFERENCES passages (id), FOREIGN KEY(check_id) "
    "REFERENCES passages (id))",
    "CREATE TABLE IF NOT EXISTS members (id INTEGER NOT NULL, set_id INTEGER NOT NULL, shaft INTEGER NOT "
    "NULL, joined_ms INTEGER NOT NULL, result_id INTEGER NOT NULL, PRIMARY KEY (id), FOREIGN KEY(set_id) "
    "REFERENCES sets (id), FOREIGN KEY(result_id) REFERENCES results (id))",
    "CREATE TABLE IF NOT EXISTS leavings (member_id INTEGER NOT NULL, at_ms INTEGER NOT NULL, words VARCHAR "
    "NOT NULL, PRIMARY KEY (member_id), FOREIGN KEY(member_id) REFERENCES members (id))",
)
INDEXED = (
    ("weights", "shaft"),
    ("marks", "shaft"),
    ("runs", "batch_id"),
    ("runs", "shaft"),
    ("runs", "label"),
    ("nights", "gauge"),
    ("results", "run_id"),
    ("passages", "night_id"),
    ("happenings", "night_id"),
    ("wishes", "night_id"),
    ("steps", "passage_id"),
    ("checks", "passage_id"),
    ("checks", "standard"),
    ("members", "set_id"),
    ("members", "shaft"),
)


def upgrade() -> None:
    """Make the tables that are missing, and their rules."""
    for table in TABLES:
        op.execute(table)
    for table, column in INDEXED:
        op.execute(f"CREATE INDEX IF NOT EXISTS ix_{table}_{column} ON {table} ({column})")
    only_grows(op.get_bind(), *(table.split()[5] for table in TABLES))
    op.execute(
        "CREATE TRIGGER IF NOT EXISTS members_in_one_set BEFORE INSERT ON members WHEN EXISTS (SELECT 1 FROM members m "
        "LEFT JOIN leavings l ON l.member_id = m.id WHERE m.shaft = NEW.shaft AND l.member_id IS NULL) "
        "BEGIN SELECT RAISE(ABORT, 'that shaft is in a set'); END"
    )
