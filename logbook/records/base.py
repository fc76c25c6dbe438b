"""The base of every table: names of constraints, codes, and column types that refuse surprises."""

import secrets
from datetime import UTC, datetime
from decimal import Decimal
from functools import lru_cache
from typing import Any

from sqlalchemy import BigInteger, CheckConstraint, Dialect, Index, Integer, MetaData, String, TypeDecorator
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from logbook.lengths import Length, parse_length

CODE_ALPHABET = "23456789ABCDEFGHJKLMNPQRSTVWXYZ"
"""No 0/O, 1/I and no U: read aloud and typed from paper without doubt."""


def new_code() -> str:
    """Eight random letters and digits: what stands in addresses and QR codes instead of row ids."""
    return "".join(secrets.choice(CODE_ALPHABET) for _ in range(8))


class Base(DeclarativeBase):
    """Every table of the logbook."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(column_0_label)s",
            "uq": "uq_%(table_name)s_%(column_0_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    __table_args__: Any = {"sqlite_autoincrement": True}
    # a number has 64 bits in either database: files are larger than 2 GB
    type_annotation_map = {int: Integer().with_variant(BigInteger(), "postgresql")}

    id: Mapped[int] = mapped_column(primary_key=True)


class Coded:
    """A row that people reach by a random short code."""

    code: Mapped[str] = mapped_column(String(8), unique=True, default=new_code)


class UtcTime(TypeDecorator[datetime]):
    """An aware time, stored as ISO text in UTC so that text order is time order; naive times are refused."""

    impl = String(32)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> str | None:
        """Aware time to text."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a time without a zone cannot be stored")
        return value.astimezone(UTC).isoformat(timespec="microseconds")

    def process_result_value(self, value: str | None, dialect: Dialect) -> datetime | None:
        """Text to aware time."""
        return None if value is None else datetime.fromisoformat(value)


class DecimalText(TypeDecorator[Decimal]):
    """A decimal stored as the text that was meant, never as a float."""

    impl = String(40)
    cache_ok = True

    def process_bind_param(self, value: Decimal | None, dialect: Dialect) -> str | None:
        """Decimal to text."""
        return None if value is None else format(Decimal(value), "f")

    def process_result_value(self, value: str | None, dialect: Dialect) -> Decimal | None:
        """Text to Decimal."""
        return None if value is None else Decimal(value)


class LengthText(TypeDecorator[Length]):
    """A length as it was typed: decimal text with its unit, for example ``8in``."""

    impl = String(40)
    cache_ok = True

    def process_bind_param(self, value: Length | None, dialect: Dialect) -> str | None:
        """Length to text."""
        return None if value is None else str(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Length | None:
        """Text to Length."""
        return None if value is None else _length(value)


@lru_cache(maxsize=4096)
def _length(text: str) -> Length:
    """A shop's rows hold few different lengths, and a list reads thousands."""
    return parse_length(text, positive=False)


def one_of(column: str, *values: str) -> CheckConstraint:
    """A constraint: the column holds one of these words."""
    listed = ", ".join(f"'{value}'" for value in values)
    return CheckConstraint(f"{column} IN ({listed})", name=f"{column}_known")


def partial_index(name: str, *columns: Any, where: Any) -> Index:
    """An index of only those rows that a list walks through, in either database."""
    return Index(name, *columns, sqlite_where=where, postgresql_where=where)
