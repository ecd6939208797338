"""People say which numbers are of one shaft: a shaft that goes through the gauge again gets a second number."""

from alembic import op
from midspan.store.upgrade import only_grows

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    """Add the table of what is said."""
    op.execute(
        "CREATE TABLE identities (id INTEGER NOT NULL, shaft INTEGER NOT NULL, other INTEGER NOT NULL, "
        "at_ms INTEGER NOT NULL, same BOOLEAN, person VARCHAR NOT NULL, words VARCHAR NOT NULL, PRIMARY KEY (id))"
    )
    op.execute("CREATE INDEX ix_identities_shaft ON identities (shaft)")
    op.execute("CREATE INDEX ix_identities_other ON identities (other)")
    only_grows(op.get_bind(), "identities")
