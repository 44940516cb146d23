"""Entries, faces and events."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the first tables."""
    op.create_table(
        "entry",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("code", sa.Text, nullable=False),
        sa.Column("photo_sha256", sa.Text, nullable=False),
        sa.Column("photo_file", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("thickness", sa.Float),
        sa.Column("length", sa.Float),
        sa.Column("max_diameter", sa.Float, nullable=False),
        sa.Column("min_diameter", sa.Float, nullable=False),
        sa.Column("round_diameter", sa.Float, nullable=False),
        sa.Column("clear_diameter", sa.Float),
        sa.Column("warnings", sa.Integer, nullable=False),
        sa.Column("species", sa.Text),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("state_day", sa.Date, nullable=False),
        sa.Column("place", sa.Text),
        sa.Column("weight", sa.Float),
        sa.Column("weight_day", sa.Date),
        sa.Column("note", sa.Text),
        sa.Column("added_day", sa.Date, nullable=False),
        sa.Column("withdrawn", sa.Boolean, nullable=False),
        sa.UniqueConstraint("code", name="uq_entry_code"),
        sa.UniqueConstraint("photo_sha256", name="uq_entry_photo_sha256"),
    )
    for column in ("state", "species", "place", "clear_diameter", "added_day"):
        op.create_index(f"ix_entry_{column}", "entry", [column])
    op.create_table(
        "face",
        sa.Column("entry_id", sa.Integer, sa.ForeignKey("entry.id"), primary_key=True, autoincrement=False),
        sa.Column("document", sa.Text, nullable=False),
    )
    op.create_table(
        "event",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("entry_id", sa.Integer, sa.ForeignKey("entry.id"), nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("day", sa.Date, nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("facts", sa.JSON, nullable=False),
        sa.Column("undone_at", sa.DateTime(timezone=True)),
    )
    op.create_index("ix_event_entry_id", "event", ["entry_id"])
