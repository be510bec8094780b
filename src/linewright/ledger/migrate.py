"""Bringing a ledger's tables up to date, and refusing what is no ledger or comes from the future."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sqlalchemy import Connection, text
from sqlalchemy.exc import DBAPIError

from linewright.errors import CannotError, InputError
from linewright.ledger.schema import HEAD, metadata

STEPS = Path(__file__).parent / "migrations"
REVISIONS = ("", HEAD)
"""Every revision a ledger may be found at, oldest first; the first is an empty one."""
USUAL = "SELECT version_num FROM alembic_version WHERE NOT EXISTS (SELECT 1 FROM item, change WHERE item.id < 0)"


def revision(connection: Connection, where: str) -> str:
    """Return the revision a database is at; "" for an empty one.

    Raises
    ------
    InputError
        If it holds something else than a ledger.
    CannotError
        If a newer version of the program made it.
    """
    if _up_to_date(connection):
        return HEAD
    tables = _tables(connection)
    if not tables:
        return ""
    if not {"alembic_version", "item", "change"} <= tables:
        rule = f"must be a ledger or empty; {where} holds something else ({', '.join(sorted(tables)[:3])})"
        raise InputError("ledger", rule, cure="Name another file with --ledger.")
    found = str(connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one())
    if found not in REVISIONS:
        raise CannotError(
            f"{where} was written by a newer version of linewright (tables {found}; this one knows {HEAD}). "
            "Nothing was changed. Update linewright, or open an older copy from the backups."
        )
    return found


def _up_to_date(connection: Connection) -> bool:
    """Return whether one look finds the newest revision and the tables of a ledger: the usual case, told quickly."""
    try:
        with connection.begin_nested():
            return connection.execute(text(USUAL)).scalar() == HEAD
    except DBAPIError:
        return False


def _tables(connection: Connection) -> set[str]:
    from sqlalchemy import inspect

    return set(inspect(connection).get_table_names())


def upgrade(connection: Connection) -> None:
    """Run the steps that are missing, inside the transaction the connection is in."""
    from alembic.config import Config
    from alembic.runtime.environment import EnvironmentContext
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", str(STEPS).replace("%", "%%"))
    script = ScriptDirectory.from_config(config)

    def steps(found: Any, _: Any) -> Any:
        return script._upgrade_revs(HEAD, found)

    with EnvironmentContext(config, script, fn=steps, destination_rev=HEAD) as environment:
        environment.configure(connection=connection, target_metadata=metadata)
        environment.run_migrations()


def difference(connection: Connection) -> list[object]:
    """Return in what the tables differ from how they are drawn in ``schema``."""
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    return list(compare_metadata(MigrationContext.configure(connection), metadata))
