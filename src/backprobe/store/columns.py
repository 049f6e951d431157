"""Column types that behave alike on every data base."""

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import DateTime
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator


class UtcTime(TypeDecorator[datetime]):
    """An instant in UTC; data bases that keep no zone give it back with one all the same."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(  # the library passes the dialect; both data bases take the same
        self,
        value: datetime | None,
        dialect: Dialect,  # noqa: ARG002
    ) -> datetime | None:
        """Turn an instant of any zone into UTC; one without a zone is refused."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a time without its zone can't be stored")
        return value.astimezone(UTC)

    def process_result_value(
        self,
        value: Any,
        dialect: Dialect,  # noqa: ARG002 - as above
    ) -> datetime | None:
        """Give the instant its zone back."""
        if value is None:
            return None
        found: datetime = value
        return found.replace(tzinfo=UTC) if found.tzinfo is None else found.astimezone(UTC)


def now() -> datetime:
    """The present instant in UTC, to the microsecond that both data bases keep."""
    return datetime.now(UTC)
