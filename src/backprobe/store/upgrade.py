"""Brings a data base to the shape that this version of the program expects."""

from __future__ import annotations

from typing import Final

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection

from backprobe.errors import StoreError
from backprobe.store.engine import Store

LOCATION: Final = "backprobe.store:migrations"


def upgrade(store: Store) -> None:
    """Make all tables, or change those of an older version; nothing where all is up to date.

    Raises
    ------
    StoreError
        The data base can't be used, or a newer version of the program made it.
    """
    with store.write() as session:
        connection = session.connection()
        found = MigrationContext.configure(connection).get_current_revision()
        newest = newest_revision()
        if found == newest:
            return
        if found is not None and found not in known_revisions():
            raise StoreError(
                "The data base was made by a newer version of backprobe.",
                where=store.where,
                remedy="Install that version, or name another data base with --database.",
            )
        upgrade_on(connection)


def upgrade_on(connection: Connection, revision: str = "head") -> None:
    """Bring a data base to a shape inside of a transaction that is under way."""
    config = _config()
    config.attributes["connection"] = connection
    command.upgrade(config, revision)


def revision_of(store: Store) -> str | None:
    """The shape that a data base has now; None where it has no tables yet."""
    with store.read() as session:
        return MigrationContext.configure(session.connection()).get_current_revision()


def newest_revision() -> str | None:
    """The shape that this version expects."""
    return _scripts().get_current_head()


def known_revisions() -> frozenset[str]:
    """All shapes that this version can start from."""
    return frozenset(each.revision for each in _scripts().walk_revisions())


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", LOCATION)
    return config


def _scripts() -> ScriptDirectory:
    return ScriptDirectory.from_config(_config())
