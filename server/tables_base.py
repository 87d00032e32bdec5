"""What all tables share: their base, moments in UTC, random ids, lists of words."""

from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

from sqlalchemy import JSON, DateTime, Dialect, ForeignKey, MetaData, TypeDecorator
from sqlalchemy.orm import DeclarativeBase


def one_of(column: str, values: tuple[str, ...]) -> str:
    """Return the SQL condition that a column holds one of some words."""
    return f"{column} IN ({', '.join(repr(value) for value in values)})"


def random_id() -> str:
    """Return a fresh random UUID."""
    return str(uuid4())


def part_of(column: str) -> ForeignKey:
    """Return the key of something that is erased together with what it belongs to."""
    return ForeignKey(column, ondelete="CASCADE")


class UtcDateTime(TypeDecorator[datetime]):
    """A moment: aware in Python, UTC in the database."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, _dialect: Dialect) -> datetime | None:
        """Turn an aware datetime into UTC without an offset."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a moment needs a time zone")
        return value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, _dialect: Dialect) -> datetime | None:
        """Turn what the database holds into an aware datetime."""
        return None if value is None else value.replace(tzinfo=UTC)


class Base(DeclarativeBase):
    """Base of all tables."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_N_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map = {  # noqa: RUF012 (the name is SQLAlchemy's)
        datetime: UtcDateTime,
        dict[str, Any]: JSON,
        list[str]: JSON,
    }
