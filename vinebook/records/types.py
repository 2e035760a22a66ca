"""Column types that mean the same on SQLite and PostgreSQL."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from sqlalchemy import DOUBLE_PRECISION, REAL, BigInteger, Date, Integer, LargeBinary, Text
from sqlalchemy.types import TypeDecorator, TypeEngine

if TYPE_CHECKING:
    from sqlalchemy.engine.interfaces import Dialect

Whole = BigInteger().with_variant(Integer(), "sqlite")
Small = Integer()
Words = Text()
Real: TypeEngine[float] = DOUBLE_PRECISION().with_variant(REAL(), "sqlite")
Bytes = LargeBinary()


class IsoDate(TypeDecorator[dt.date]):
    """A date: DATE on PostgreSQL, ISO text on SQLite, whose strict tables know no dates."""

    impl = Text
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Give DATE where the database has it."""
        return dialect.type_descriptor(Text() if dialect.name == "sqlite" else Date())

    def process_bind_param(self, value: dt.date | str | None, dialect: Dialect) -> dt.date | str | None:
        """Give what the database keeps."""
        if value is None:
            return None
        day = dt.date.fromisoformat(value) if isinstance(value, str) else value
        return day.isoformat() if dialect.name == "sqlite" else day

    def process_result_value(self, value: dt.date | str | None, dialect: Dialect) -> dt.date | None:  # noqa: ARG002 - the signature is SQLAlchemy's
        """Give a date."""
        return dt.date.fromisoformat(value) if isinstance(value, str) else value
