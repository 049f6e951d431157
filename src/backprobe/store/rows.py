"""All rows as lines of JSON and back: the same lines from every data base, for every one."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime
from itertools import islice
from typing import Any, Final

from sqlalchemy import (
    JSON,
    Connection,
    Date,
    DateTime,
    LargeBinary,
    MetaData,
    Table,
    func,
    insert,
    select,
    text,
)
from sqlalchemy.orm import Session

from backprobe.store.schema import Base

_AT_ONCE: Final = 1000

# In an order in which no row comes before one that it points at.
TABLES: Final = tuple(table.name for table in Base.metadata.sorted_tables)


def count_rows(session: Session) -> dict[str, int]:
    """How many rows each table has."""
    return {
        table.name: session.scalar(select(func.count()).select_from(table)) or 0
        for table in Base.metadata.sorted_tables
    }


def lines_of(session: Session, name: str) -> Iterator[str]:
    """All rows of a table in their order, one JSON object each."""
    table = Base.metadata.tables[name]
    rows = session.execute(
        select(table).order_by(*table.primary_key.columns),
        execution_options={"yield_per": _AT_ONCE},
    )
    for row in rows.mappings():
        values = {key: _as_json(value) for key, value in row.items()}
        yield json.dumps(values, ensure_ascii=False, allow_nan=False)


def tables_of(connection: Connection) -> dict[str, Table]:
    """The tables as the data base has them now, which may be those of an older version."""
    found = MetaData()
    found.reflect(connection)
    return dict(found.tables)


def insert_lines(connection: Connection, table: Table, lines: Iterable[str]) -> None:
    """Put rows in as they were.

    Raises
    ------
    ValueError, TypeError, KeyError
        A line isn't a row of this table.
    """
    rows = (_row(table, json.loads(line)) for line in lines)
    while some := list(islice(rows, _AT_ONCE)):
        connection.execute(insert(table), some)


def go_on_counting(connection: Connection, tables: Iterable[Table]) -> None:
    """Let numbers of new rows follow those put in; SQLite does that by itself."""
    if connection.dialect.name != "postgresql":
        return
    for table in tables:
        if "id" in table.columns:
            last = connection.scalar(select(func.max(table.c.id)))
            connection.execute(
                text("select setval(pg_get_serial_sequence(:name, 'id'), :next, false)"),
                {"name": table.name, "next": (last or 0) + 1},
            )


def _row(table: Table, values: Any) -> dict[str, Any]:
    if not isinstance(values, dict) or values.keys() != set(table.columns.keys()):
        raise ValueError(f"a line of {table.name} has other columns")
    return {name: _from_json(table.columns[name].type, each) for name, each in values.items()}


def _as_json(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, bytes):
        return base64.b64encode(value).decode("ascii")
    return value


def _from_json(kind: Any, value: Any) -> Any:
    if value is None:
        return None
    if isinstance(kind, DateTime):
        return datetime.fromisoformat(value).astimezone(UTC)
    if isinstance(kind, Date):
        return date.fromisoformat(value)
    if isinstance(kind, LargeBinary):
        return base64.b64decode(value, validate=True)
    if isinstance(kind, JSON):
        return value
    # SQLite would take any value in any column.
    wanted = (float, int) if kind.python_type is float else (kind.python_type,)
    if type(value) not in wanted:
        raise ValueError(f"{value!r:.40} can't be in a column of {kind}")
    return value
