"""${message}"""

from alembic import op

revision = "${up_revision}"
down_revision = ${repr(down_revision)}


def upgrade() -> None:
    """Bring the tables from ${down_revision} to ${up_revision}."""
