"""Tables of what was done: audit, exports, erasures, settings. Random ids only, no words."""

from datetime import datetime
from typing import Any

from sqlalchemy import JSON, CheckConstraint, ForeignKey, Index, String
from sqlalchemy.orm import Mapped, mapped_column

from server.tables_base import Base, one_of, random_id

ERASURE_REASONS = ("asked", "retention", "restored")


class AuditRow(Base):
    """Who saw, changed or exported what, and when. No names and no text."""

    __tablename__ = "audit"
    __table_args__ = (
        Index(None, "account_id", "object_id", "verb"),
        Index(None, "child_id", "number"),
        {"sqlite_autoincrement": True},
    )

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    at: Mapped[datetime]
    account_id: Mapped[str | None] = mapped_column(String(36))
    verb: Mapped[str]
    kind: Mapped[str]
    object_id: Mapped[str | None] = mapped_column(String(36))
    # Whose record it was; stays when the child is erased.
    child_id: Mapped[str | None] = mapped_column(String(36))


class ExportRun(Base):
    """One table that was taken away, how much of it, and what was left out."""

    __tablename__ = "export_run"

    id: Mapped[str] = mapped_column(String(36), primary_key=True, default=random_id)
    account_id: Mapped[str | None] = mapped_column(ForeignKey("account.id"))
    at: Mapped[datetime]
    table_name: Mapped[str]
    rows: Mapped[int | None]
    left_out: Mapped[dict[str, Any]]


class Erasure(Base):
    """A child whose record was erased: how many rows of which table."""

    __tablename__ = "erasure"
    __table_args__ = (CheckConstraint(one_of("reason", ERASURE_REASONS), name="reason"),)

    id: Mapped[str] = mapped_column(String(36), primary_key=True, default=random_id)
    child_id: Mapped[str] = mapped_column(String(36), index=True)
    at: Mapped[datetime]
    reason: Mapped[str]
    counts: Mapped[dict[str, Any]]


class ErasedId(Base):
    """A random id that was erased, so that a tablet which still sends it is told so."""

    __tablename__ = "erased_id"

    id: Mapped[str] = mapped_column(String(36), primary_key=True)
    erasure_id: Mapped[str] = mapped_column(ForeignKey("erasure.id"))


class Erasing(Base):
    """The child being erased in this very transaction: what may then be deleted."""

    __tablename__ = "erasing"

    child_id: Mapped[str] = mapped_column(String(36), primary_key=True)


class PracticeSetting(Base):
    """A setting of the practice as its owner chose it. The newest one counts."""

    __tablename__ = "practice_setting"
    __table_args__ = ({"sqlite_autoincrement": True},)

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    name: Mapped[str] = mapped_column(index=True)
    value: Mapped[Any] = mapped_column(JSON)
    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"))
    at: Mapped[datetime]
