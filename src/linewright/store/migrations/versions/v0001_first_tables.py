"""The first tables."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "item",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("key", sa.String(200), nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("archived", sa.Boolean, nullable=False),
        sa.Column("changed_at", sa.String(32), nullable=False),
        sa.UniqueConstraint("kind", "key", name="item_kind_key"),
    )
    op.create_table(
        "reading",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("item_id", sa.Integer, sa.ForeignKey("item.id", name="reading_of_item"), nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("token", sa.String(80)),
        sa.Column("cells", sa.Text),
        sa.UniqueConstraint("item_id", "number", "version", name="reading_number_version"),
        sa.UniqueConstraint("item_id", "token", name="reading_token"),
    )
    op.create_table(
        "blob",
        sa.Column("sha256", sa.String(64), primary_key=True),
        sa.Column("content", sa.LargeBinary, nullable=False),
    )
    op.create_table(
        "change",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("who", sa.String(80), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("key", sa.String(220), nullable=False),
        sa.Column("before", sa.Text),
        sa.Column("after", sa.Text),
        sa.Column("note", sa.Text, nullable=False),
    )
    op.create_index("change_of", "change", ["kind", "key"])
    op.create_table(
        "derived",
        sa.Column("kind", sa.String(16), primary_key=True),
        sa.Column("key", sa.String(200), primary_key=True),
        sa.Column("engine", sa.String(64), nullable=False),
        sa.Column("evidence", sa.String(64), nullable=False),
        sa.Column("body", sa.Text, nullable=False),
    )
