"""A change says by a number which earlier one it undoes, where its note alone told that before."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from linewright.store.items import undone_in

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the number, and fill it in from the notes of undoings."""
    op.add_column("change", sa.Column("undoes", sa.Integer))
    change = sa.table("change", sa.column("id"), sa.column("note"), sa.column("undoes"))
    rows = op.get_bind().execute(sa.select(change.c.id, change.c.note).where(change.c.note.like("undoes change %")))
    for row in rows.all():
        if (number := undone_in(row.note)) is not None:
            op.execute(sa.update(change).where(change.c.id == row.id).values(undoes=number))
