"""captures and logs."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the change."""
    op.create_table(
        "recording",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("job_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("round_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("caption", sa.Text(), nullable=False),
        sa.Column("source_sha256", sa.Text(), nullable=False),
        sa.Column("source_bytes", sa.BigInteger(), nullable=False),
        sa.Column("samples_sha256", sa.Text(), nullable=False),
        sa.Column("mapping", sa.Text(), nullable=False),
        sa.Column("remarks", sa.JSON(), nullable=False),
        sa.Column("n_sample", sa.BigInteger(), nullable=False),
        sa.Column("start_s", sa.Double(), nullable=False),
        sa.Column("interval_s", sa.Double(), nullable=False),
        sa.Column("error_share", sa.Double(), nullable=False),
        sa.Column("void", sa.Text(), nullable=False),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("device", sa.Text(), nullable=False),
        sa.CheckConstraint("kind in ('capture', 'log')", name=op.f("ck_recording_kind")),
        sa.ForeignKeyConstraint(
            ["job_id"], ["job.id"], name=op.f("fk_recording_job_id_job"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["round_id"], ["round.id"], name=op.f("fk_recording_round_id_round"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recording")),
        sa.UniqueConstraint("key", name=op.f("uq_recording_key")),
    )
    op.create_index(op.f("ix_recording_job_id"), "recording", ["job_id"], unique=False)
    op.create_index(
        op.f("ix_recording_samples_sha256"), "recording", ["samples_sha256"], unique=False
    )
    op.create_table(
        "recording_channel",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "recording_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("quantity", sa.Text(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("signal", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["recording_id"],
            ["recording.id"],
            name=op.f("fk_recording_channel_recording_id_recording"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recording_channel")),
        sa.UniqueConstraint(
            "recording_id", "position", name=op.f("uq_recording_channel_recording_id")
        ),
    )
    op.create_table(
        "recording_mark",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "recording_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("from_s", sa.Double(), nullable=False),
        sa.Column("until_s", sa.Double(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("device", sa.Text(), nullable=False),
        sa.Column("is_taken_back", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["recording_id"],
            ["recording.id"],
            name=op.f("fk_recording_mark_recording_id_recording"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recording_mark")),
    )
    op.create_index(
        op.f("ix_recording_mark_recording_id"), "recording_mark", ["recording_id"], unique=False
    )
