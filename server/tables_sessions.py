"""Tables of what is planned, seen and written: tasks, goals, sessions, plans, notes."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, Index, String
from sqlalchemy.orm import Mapped, mapped_column

from server.tables_base import Base, one_of, part_of, random_id

GOAL_STATUS = ("open", "met", "continued", "changed", "stopped")
SESSION_KINDS = ("individual", "group")
NOTE_STATES = ("draft", "signed", "returned", "cosigned")
NOTE_EVENTS = ("drafted", "signed", "returned", "cosigned", "addendum")


class TaskRow(Base):
    """One revision of a task of the practice's own, ``linnet-task/1``."""

    __tablename__ = "task"

    task_id: Mapped[str] = mapped_column(String(64), primary_key=True)
    revision: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    document: Mapped[dict[str, Any]]
    guide_id: Mapped[str | None]
    retired: Mapped[bool]
    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"))
    at: Mapped[datetime]


class GoalRow(Base):
    """One version of a goal."""

    __tablename__ = "goal"
    __table_args__ = (
        CheckConstraint(one_of("status", GOAL_STATUS), name="status"),
        CheckConstraint("k >= 1 AND k <= n", name="k_of_n"),
        CheckConstraint("days >= 1", name="days"),
    )

    id: Mapped[str] = mapped_column(String(36), primary_key=True, default=random_id)
    version: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    child_id: Mapped[str] = mapped_column(part_of("child.id"), index=True)
    measure: Mapped[str]
    criterion: Mapped[dict[str, Any]]
    k: Mapped[int]
    n: Mapped[int]
    days: Mapped[int]
    conditions: Mapped[dict[str, Any]]
    help: Mapped[dict[str, Any]]
    purpose: Mapped[str]
    due: Mapped[date | None]
    baseline: Mapped[dict[str, Any] | None]
    status: Mapped[str]
    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"))
    at: Mapped[datetime]


class SessionRow(Base):
    """One dated sitting with one child."""

    __tablename__ = "session"
    __table_args__ = (
        Index(None, "child_id", "day"),
        CheckConstraint(one_of("kind", SESSION_KINDS), name="kind"),
        {"sqlite_autoincrement": True},
    )

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    id: Mapped[str] = mapped_column(String(36), unique=True, default=random_id)
    child_id: Mapped[str] = mapped_column(part_of("child.id"))
    plan_id: Mapped[str] = mapped_column(String(36), unique=True, default=random_id)
    day: Mapped[date] = mapped_column(index=True)
    started_at: Mapped[datetime | None]
    ended_at: Mapped[datetime | None]
    closed_at: Mapped[datetime | None]
    place: Mapped[str | None]
    position: Mapped[str | None]
    attendance: Mapped[str | None]
    kind: Mapped[str | None]
    account_id: Mapped[str | None] = mapped_column(ForeignKey("account.id"))


class PlanRow(Base):
    """One version of the plan of a session."""

    __tablename__ = "plan"

    session_id: Mapped[str] = mapped_column(part_of("session.id"), primary_key=True)
    version: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    plan: Mapped[dict[str, Any]]
    account_id: Mapped[str | None] = mapped_column(ForeignKey("account.id"))
    at: Mapped[datetime | None]


class ObservationRow(Base):
    """What the adult saw in a session, or in one trial of it; fixed once the note is signed."""

    __tablename__ = "observation"
    __table_args__ = ({"sqlite_autoincrement": True},)

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    id: Mapped[str] = mapped_column(String(36), unique=True)
    session_id: Mapped[str] = mapped_column(part_of("session.id"), index=True)
    trial_id: Mapped[str | None] = mapped_column(part_of("trial.id"), index=True)
    kind: Mapped[str]
    text: Mapped[str | None]
    minutes: Mapped[float | None]
    help: Mapped[dict[str, Any] | None]
    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"))
    at: Mapped[datetime]


class NoteRow(Base):
    """The note of a session: four sections, a state, and the numbers as they were signed."""

    __tablename__ = "note"
    __table_args__ = (CheckConstraint(one_of("state", NOTE_STATES), name="state"),)

    session_id: Mapped[str] = mapped_column(part_of("session.id"), primary_key=True)
    state: Mapped[str]
    revision: Mapped[int]
    subjective: Mapped[str]
    objective: Mapped[str]
    assessment: Mapped[str]
    plan_text: Mapped[str]
    frozen: Mapped[dict[str, Any] | None]
    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"), index=True)
    changed_at: Mapped[datetime]
    signed_at: Mapped[datetime | None]
    signed_by: Mapped[str | None] = mapped_column(ForeignKey("account.id"))
    cosigned_at: Mapped[datetime | None]
    cosigned_by: Mapped[str | None] = mapped_column(ForeignKey("account.id"))


class NoteEvent(Base):
    """One step in the life of a note; `content` is what was signed."""

    __tablename__ = "note_event"
    __table_args__ = (
        CheckConstraint(one_of("kind", NOTE_EVENTS), name="kind"),
        {"sqlite_autoincrement": True},
    )

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    id: Mapped[str] = mapped_column(String(36), unique=True, default=random_id)
    session_id: Mapped[str] = mapped_column(part_of("note.session_id"), index=True)
    kind: Mapped[str]
    text: Mapped[str | None]
    content: Mapped[dict[str, Any] | None]
    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"))
    at: Mapped[datetime]
