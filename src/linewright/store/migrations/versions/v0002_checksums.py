"""A checksum beside every row of items, readings and changes."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from linewright.store.soundness import SUMMED, row_sum

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column and fill it from what the rows hold now."""
    for name, columns in SUMMED.items():
        op.add_column(name, sa.Column("checksum", sa.String(16), nullable=False, server_default=""))
        listed = ", ".join(f'"{c}"' for c in ("id", *columns))
        rows = op.get_bind().execute(sa.text(f'SELECT {listed} FROM "{name}"')).all()
        sums = [{"of": row[0], "sum": row_sum(name, row[1:])} for row in rows]
        if sums:
            op.get_bind().execute(sa.text(f'UPDATE "{name}" SET checksum = :sum WHERE id = :of'), sums)
