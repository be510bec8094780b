"""The tables as they are now. How they came to be so, the migrations tell; a test holds the two together."""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    Column,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

HEAD = "0004"
"""The newest migration: a ledger at this revision needs none."""

metadata = MetaData()

item = Table(
    "item",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("kind", String(16), nullable=False),
    Column("key", String(200), nullable=False),
    Column("body", Text, nullable=False),
    Column("version", Integer, nullable=False),
    Column("archived", Boolean, nullable=False),
    Column("changed_at", String(32), nullable=False),
    Column("checksum", String(16), nullable=False, server_default=""),
    UniqueConstraint("kind", "key", name="item_kind_key"),
)

# Rows are only ever added: a correction is a row of a higher version.
reading = Table(
    "reading",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("item_id", Integer, ForeignKey("item.id", name="reading_of_item"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("version", Integer, nullable=False),
    Column("at", String(32), nullable=False),
    Column("token", String(80)),
    Column("cells", Text),
    Column("checksum", String(16), nullable=False, server_default=""),
    UniqueConstraint("item_id", "number", "version", name="reading_number_version"),
    UniqueConstraint("item_id", "token", name="reading_token"),
)

blob = Table(
    "blob",
    metadata,
    Column("sha256", String(64), primary_key=True),
    Column("content", LargeBinary, nullable=False),
)

change = Table(
    "change",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("at", String(32), nullable=False),
    Column("who", String(80), nullable=False),
    Column("kind", String(16), nullable=False),
    Column("key", String(220), nullable=False),
    Column("before", Text),
    Column("after", Text),
    Column("note", Text, nullable=False),
    Column("undoes", Integer),
    Column("checksum", String(16), nullable=False, server_default=""),
    Index("change_of", "kind", "key"),
)

# By which programs speak to the app.
token = Table(
    "token",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String(80), nullable=False),
    Column("scope", String(8), nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("made_at", String(32), nullable=False),
    Column("used_at", String(32)),
    UniqueConstraint("name", name="token_name"),
    UniqueConstraint("sha256", name="token_sha256"),
)

# What was worked out from the rest. May be emptied at any time.
derived = Table(
    "derived",
    metadata,
    Column("kind", String(16), primary_key=True),
    Column("key", String(200), primary_key=True),
    Column("engine", String(64), nullable=False),
    Column("evidence", String(64), nullable=False),
    Column("body", Text, nullable=False),
)
