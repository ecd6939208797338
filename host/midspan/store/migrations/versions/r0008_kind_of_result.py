"""Rows of results say what the run was measured with.

For what stands there the form of the result tells it: one of the hand bench names its operator. The name of the gauge
tells nothing, as whoever sets up a gauge may choose any.
"""

from alembic import op
from midspan.store.upgrade import may_change

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    """Add the kind of the result, and fill it in."""
    op.execute("ALTER TABLE results ADD COLUMN kind VARCHAR NOT NULL DEFAULT 'unmeasured'")
    with may_change(op.get_bind(), "results"):
        op.execute(
            "UPDATE results SET kind = CASE WHEN json_valid(results.full) "
            "AND json_type(results.full, '$.operator') IS NOT NULL THEN 'hand bench' ELSE 'gauge' END "
            "WHERE results.full IS NOT NULL"
        )
