"""the reading that a picture belongs to."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Make the change."""
    with op.batch_alter_table("attachment", schema=None) as batch_op:
        batch_op.add_column(sa.Column("quantity", sa.Text(), nullable=False, server_default=""))
