"""Tables are made, changed and compared: from nothing, from the oldest shape, from a newer one."""

import sqlite3
from collections.abc import Callable
from pathlib import Path

import psycopg
import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import inspect, text

from backprobe.errors import StoreError
from backprobe.job import read_job
from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from backprobe.store.schema import Base
from backprobe.store.upgrade import newest_revision, revision_of, upgrade

FIXTURES = Path(__file__).parent / "fixtures"

NewStore = Callable[[], Store]


def tables(store: Store) -> set[str]:
    return set(inspect(store.engine).get_table_names())


def test_an_empty_data_base_gets_all_tables(new_store: NewStore) -> None:
    store = new_store()
    assert (tables(store), revision_of(store)) == (set(), None)
    upgrade(store)
    assert tables(store) == {*Base.metadata.tables, "alembic_version"}
    assert revision_of(store) == newest_revision()


def test_what_is_up_to_date_is_left_alone(store: Store) -> None:
    JobBook(store).take_in(read_job(FIXTURES / "0001.toml"))
    upgrade(store)
    _, count = JobBook(store).listed()
    assert count == 1


def test_the_steps_make_what_the_program_expects(store: Store) -> None:
    """Alembic's own comparison of the tables there with those of the models."""
    with store.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []


def test_a_missing_column_is_noticed(store: Store) -> None:
    """The comparison above can fail."""
    with store.engine.begin() as connection:
        connection.execute(text("alter table job drop column technician"))
    with store.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        (found,) = compare_metadata(context, Base.metadata)
    assert found[0] == "add_column"


def load_dump(store: Store, revision: str) -> None:
    """Fill a data base with a dump as its own tool wrote it."""
    if store.path is not None:
        dump = (FIXTURES / f"{revision}-sqlite.sql").read_text(encoding="utf-8")
        with sqlite3.connect(store.path) as file:
            file.executescript(dump)
        file.close()
    else:
        dump = (FIXTURES / f"{revision}-postgresql.sql").read_text(encoding="utf-8")
        url = store.url.replace("+psycopg", "")
        with psycopg.connect(url, autocommit=True) as connection:
            # Without parameters the driver sends the whole text, many statements, as it is.
            connection.execute(dump.encode())


@pytest.mark.parametrize("revision", ["0001"])
def test_a_data_base_of_an_older_version_is_brought_up_to_date(
    new_store: NewStore, revision: str
) -> None:
    store = new_store()
    load_dump(store, revision)
    assert revision_of(store) == revision
    upgrade(store)
    assert revision_of(store) == newest_revision()
    book = JobBook(store)
    (line,), _ = book.listed()
    (sheet,) = book.job(line.key).sheets
    assert book.job_file(sheet.key)[0] == read_job(FIXTURES / f"{revision}.toml")
    book.enter(sheet.rounds[0].key, ("volts", "1"), "4.99")  # and it goes on counting


def test_a_data_base_of_a_newer_version_is_refused(store: Store) -> None:
    with store.write() as session:
        session.execute(text("update alembic_version set version_num = '9999'"))
    with pytest.raises(StoreError) as caught:
        upgrade(store)
    assert "newer version of backprobe" in str(caught.value)
    assert "Install that version" in caught.value.remedy
    assert revision_of(store) == "9999"
