"""Tables of attempts: raw records, what adults add to them, what is computed from them."""

from datetime import datetime
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, Index, LargeBinary, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from server.tables_base import Base, one_of, part_of

OUTCOMES = ("finished", "stopped", "spoilt", "not_done")
HANDS_USED = ("left", "right", "both")
TRIAL_KINDS = ("trial", "cut", "entry")


class TrialRow(Base):
    """One attempt: the exact bytes received, compressed, and their SHA-256 before that.

    `kind` says what the bytes are: a trial of a tablet, a cut piece, or an entry from paper.
    """

    __tablename__ = "trial"
    __table_args__ = (
        CheckConstraint("length(sha256) = 64", name="sha256"),
        CheckConstraint(one_of("kind", TRIAL_KINDS), name="kind"),
        Index(None, "session_id", "seq"),
        # Numbers are never used twice, so that they tell the order of arrival.
        {"sqlite_autoincrement": True},
    )

    arrival: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    id: Mapped[str] = mapped_column(String(36), unique=True)
    session_id: Mapped[str] = mapped_column(part_of("session.id"))
    kind: Mapped[str] = mapped_column(default="trial")
    seq: Mapped[int | None]
    received_at: Mapped[datetime]
    late: Mapped[bool]
    sha256: Mapped[str] = mapped_column(String(64))
    raw: Mapped[bytes] = mapped_column(LargeBinary, deferred=True)
    export_key: Mapped[str] = mapped_column(unique=True)
    tablet_id: Mapped[str | None] = mapped_column(ForeignKey("tablet.id"), index=True)


class MarkRow(Base):
    """What the adult knows after a trial. The newest one counts."""

    __tablename__ = "mark"
    __table_args__ = (
        CheckConstraint(one_of("outcome", OUTCOMES), name="outcome"),
        CheckConstraint(one_of("hand_used", HANDS_USED), name="hand_used"),
        {"sqlite_autoincrement": True},
    )

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    id: Mapped[str] = mapped_column(String(36), unique=True)
    trial_id: Mapped[str] = mapped_column(part_of("trial.id"), index=True)
    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"))
    at: Mapped[datetime]
    outcome: Mapped[str | None]
    why: Mapped[str | None]
    hand_used: Mapped[str | None]
    help: Mapped[dict[str, Any] | None]


class AmendmentRow(Base):
    """A correction of what a trial's record says about itself; the record stays as it is."""

    __tablename__ = "amendment"
    __table_args__ = (
        UniqueConstraint("trial_id", "amendment_no"),
        CheckConstraint("amendment_no >= 1", name="amendment_no"),
        {"sqlite_autoincrement": True},
    )

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    id: Mapped[str] = mapped_column(String(36), unique=True)
    trial_id: Mapped[str] = mapped_column(part_of("trial.id"))
    amendment_no: Mapped[int]
    patch: Mapped[dict[str, Any]]
    reason: Mapped[str]
    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"))
    at: Mapped[datetime]


class VoidRow(Base):
    """That a trial is not to be used, or is to be used again. The newest one counts."""

    __tablename__ = "void"
    __table_args__ = ({"sqlite_autoincrement": True},)

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    id: Mapped[str] = mapped_column(String(36), unique=True)
    trial_id: Mapped[str] = mapped_column(part_of("trial.id"), index=True)
    voided: Mapped[bool]
    reason: Mapped[str]
    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"))
    at: Mapped[datetime]


class ResultRow(Base):
    """Everything computed from one trial by one version of the analysis.

    Beside the report it keeps what the series and the tables group by, so that neither
    has to read the raw record again.
    """

    __tablename__ = "result"
    __table_args__ = (UniqueConstraint("trial_id", "amendment_no", "analysis_version"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    trial_id: Mapped[str] = mapped_column(part_of("trial.id"))
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

    result_id: Mapped[int] = mapped_column(part_of("result.id"), primary_key=True)
    measure: Mapped[str] = mapped_column(primary_key=True)
    value: Mapped[float | None]
    reason: Mapped[str | None]
