"""The tables. What may change and what may not is enforced by triggers (see ``migrations``)."""

from datetime import UTC, date, datetime
from typing import Any
from uuid import uuid4

from sqlalchemy import (
    JSON,
    CheckConstraint,
    DateTime,
    Dialect,
    ForeignKey,
    Index,
    LargeBinary,
    MetaData,
    String,
    TypeDecorator,
    UniqueConstraint,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship

ROLES = ("assistant", "supervisor", "researcher", "owner")
OUTCOMES = ("finished", "stopped", "spoilt", "not_done")


def one_of(column: str, values: tuple[str, ...]) -> str:
    """Return the SQL condition that a column holds one of some words."""
    return f"{column} IN ({', '.join(repr(value) for value in values)})"


def random_id() -> str:
    """Return a fresh random UUID."""
    return str(uuid4())


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
    type_annotation_map = {datetime: UtcDateTime, dict[str, Any]: JSON}  # noqa: RUF012 (the name is SQLAlchemy's)


class Account(Base):
    """An adult who can sign in."""

    __tablename__ = "account"

    id: Mapped[str] = mapped_column(String(36), primary_key=True, default=random_id)
    name: Mapped[str] = mapped_column(unique=True)
    passphrase_hash: Mapped[str]
    supervisor_id: Mapped[str | None] = mapped_column(ForeignKey("account.id"), index=True)
    role_rows: Mapped[list["AccountRole"]] = relationship(lazy="selectin")

    @property
    def roles(self) -> frozenset[str]:
        """What the account may do."""
        return frozenset(row.role for row in self.role_rows)


class AccountRole(Base):
    """One role of one account."""

    __tablename__ = "account_role"
    __table_args__ = (CheckConstraint(one_of("role", ROLES), name="role"),)

    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"), primary_key=True)
    role: Mapped[str] = mapped_column(primary_key=True)


class Child(Base):
    """A child: known by code and picture sign, by a random study code in exports."""

    __tablename__ = "child"
    __table_args__ = (
        CheckConstraint("length(birth_month) = 7", name="birth_month"),
        CheckConstraint(one_of("preferred_hand", ("left", "right", "mixed")), name="hand"),
    )

    id: Mapped[str] = mapped_column(String(36), primary_key=True, default=random_id)
    code: Mapped[str] = mapped_column(unique=True)
    nickname: Mapped[str | None]
    sign: Mapped[str]
    birth_month: Mapped[str | None]
    preferred_hand: Mapped[str | None]
    study_code: Mapped[str] = mapped_column(unique=True)


class CareLink(Base):
    """An account may see a child from one day to another."""

    __tablename__ = "care_link"

    id: Mapped[int] = mapped_column(primary_key=True)
    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"), index=True)
    child_id: Mapped[str] = mapped_column(ForeignKey("child.id"), index=True)
    from_day: Mapped[date]
    to_day: Mapped[date | None]


class SessionRow(Base):
    """One dated sitting with one child."""

    __tablename__ = "session"
    __table_args__ = (Index(None, "child_id", "day"), {"sqlite_autoincrement": True})

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    id: Mapped[str] = mapped_column(String(36), unique=True, default=random_id)
    child_id: Mapped[str] = mapped_column(ForeignKey("child.id"))
    plan_id: Mapped[str] = mapped_column(String(36), unique=True, default=random_id)
    day: Mapped[date] = mapped_column(index=True)
    started_at: Mapped[datetime | None]
    ended_at: Mapped[datetime | None]
    closed_at: Mapped[datetime | None]
    place: Mapped[str | None]
    position: Mapped[str | None]
    attendance: Mapped[str | None]


class PlanRow(Base):
    """One version of the plan of a session."""

    __tablename__ = "plan"

    session_id: Mapped[str] = mapped_column(ForeignKey("session.id"), primary_key=True)
    version: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    plan: Mapped[dict[str, Any]]


class Tablet(Base):
    """A tablet that was paired at least once."""

    __tablename__ = "tablet"

    id: Mapped[str] = mapped_column(String(36), primary_key=True, default=random_id)
    paired_at: Mapped[datetime]


class Token(Base):
    """What a paired tablet shows; only its hash is kept."""

    __tablename__ = "token"

    hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    tablet_id: Mapped[str] = mapped_column(ForeignKey("tablet.id"), index=True)
    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"), index=True)
    read_until: Mapped[datetime]
    write_until: Mapped[datetime]
    revoked_at: Mapped[datetime | None]


class PairingCode(Base):
    """A code that turns into a token once; only its hash is kept."""

    __tablename__ = "pairing_code"

    hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"), index=True)
    expires_at: Mapped[datetime]
    used_at: Mapped[datetime | None]


class SignIn(Base):
    """One signed-in browser; only the hash of its cookie is kept."""

    __tablename__ = "sign_in"

    hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"), index=True)
    expires_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]


class TrialRow(Base):
    """One attempt: the exact bytes received, compressed, and their SHA-256 before that."""

    __tablename__ = "trial"
    __table_args__ = (
        CheckConstraint("length(sha256) = 64", name="sha256"),
        Index(None, "session_id", "seq"),
        # Numbers are never used twice, so that they tell the order of arrival.
        {"sqlite_autoincrement": True},
    )

    arrival: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    id: Mapped[str] = mapped_column(String(36), unique=True)
    session_id: Mapped[str] = mapped_column(ForeignKey("session.id"))
    seq: Mapped[int | None]
    received_at: Mapped[datetime]
    late: Mapped[bool]
    sha256: Mapped[str] = mapped_column(String(64))
    raw: Mapped[bytes] = mapped_column(LargeBinary, deferred=True)
    export_key: Mapped[str] = mapped_column(unique=True)


class MarkRow(Base):
    """What the adult knows after a trial. The newest one counts."""

    __tablename__ = "mark"
    __table_args__ = (
        CheckConstraint(one_of("outcome", OUTCOMES), name="outcome"),
        CheckConstraint(one_of("hand_used", ("left", "right", "both")), name="hand_used"),
        {"sqlite_autoincrement": True},
    )

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    id: Mapped[str] = mapped_column(String(36), unique=True)
    trial_id: Mapped[str] = mapped_column(ForeignKey("trial.id"), index=True)
    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"))
    at: Mapped[datetime]
    outcome: Mapped[str | None]
    why: Mapped[str | None]
    hand_used: Mapped[str | None]
    help: Mapped[dict[str, Any] | None]


class ResultRow(Base):
    """Everything computed from one trial by one version of the analysis.

    Beside the report it keeps what the series and the tables group by, so that neither
    has to read the raw record again.
    """

    __tablename__ = "result"
    __table_args__ = (UniqueConstraint("trial_id", "amendment_no", "analysis_version"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    trial_id: Mapped[str] = mapped_column(ForeignKey("trial.id"))
    amendment_no: Mapped[int]
    analysis_version: Mapped[str]
    report: Mapped[dict[str, Any]]
    facts: Mapped[dict[str, Any]]


class MeasureValue(Base):
    """One measure of one result: a number or the reason why there is none."""

    __tablename__ = "measure_value"
    __table_args__ = (
        CheckConstraint("(value IS NULL) <> (reason IS NULL)", name="value_xor_reason"),
    )

    result_id: Mapped[int] = mapped_column(
        ForeignKey("result.id", ondelete="CASCADE"), primary_key=True
    )
    measure: Mapped[str] = mapped_column(primary_key=True)
    value: Mapped[float | None]
    reason: Mapped[str | None]


class AuditRow(Base):
    """Who saw, changed or exported what, and when. No names and no text."""

    __tablename__ = "audit"
    __table_args__ = (
        Index(None, "account_id", "object_id", "verb"),
        {"sqlite_autoincrement": True},
    )

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    at: Mapped[datetime]
    account_id: Mapped[str | None] = mapped_column(String(36))
    verb: Mapped[str]
    kind: Mapped[str]
    object_id: Mapped[str | None] = mapped_column(String(36))
