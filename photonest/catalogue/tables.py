"""The catalogue's tables: the entries, their faces, and everything that ever happened to each.

`event` is only ever added to, or marked as undone. What an entry's own columns and its
face say (state, place, weight ...) follows from its events and is kept there so that lists are quick.
"""

from __future__ import annotations

import sqlalchemy as sa

NAMING = {"ix": "ix_%(table_name)s_%(column_0_name)s", "uq": "uq_%(table_name)s_%(column_0_name)s"}
metadata = sa.MetaData(naming_convention=NAMING)

entry = sa.Table(
    "entry",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("code", sa.Text, nullable=False, unique=True),
    sa.Column("photo_sha256", sa.Text, nullable=False, unique=True),
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
    sa.Index(None, "state"),
    sa.Index(None, "species"),
    sa.Index(None, "place"),
    sa.Index(None, "clear_diameter"),
    sa.Index(None, "added_day"),
)

face = sa.Table(  # apart, so that lists need not read past the long documents
    "face",
    metadata,
    sa.Column("entry_id", sa.Integer, sa.ForeignKey("entry.id"), primary_key=True, autoincrement=False),
    sa.Column("document", sa.Text, nullable=False),
)

event = sa.Table(
    "event",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("entry_id", sa.Integer, sa.ForeignKey("entry.id"), nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("day", sa.Date, nullable=False),
    sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
    sa.Column("facts", sa.JSON, nullable=False),
    sa.Column("undone_at", sa.DateTime(timezone=True)),
    sa.Index(None, "entry_id"),
)
