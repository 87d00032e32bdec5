"""The new tables of step 0002. Never changed: later steps change tables themselves."""

import sqlalchemy as sa
from alembic import op

from server.migrations.columns import day, ident, json, moment, number, text, whole


def _create_people() -> None:
    op.create_table(
        "invitation",
        ident("id"),
        sa.Column("hash", sa.String(64), nullable=False, unique=True),
        text("purpose"),
        json("roles"),
        ident("supervisor_id", "account.id", null=True),
        ident("account_id", "account.id", null=True),
        ident("made_by", "account.id", null=True),
        moment("made_at"),
        moment("expires_at"),
        moment("used_at", null=True),
        moment("withdrawn_at", null=True),
        sa.PrimaryKeyConstraint("id"),
        sa.CheckConstraint("purpose IN ('owner', 'join', 'reset')", name="purpose"),
    )
    op.create_table(
        "consent",
        ident("id"),
        ident("child_id", "child.id", part=True),
        text("purpose"),
        day("given_on"),
        text("given_by"),
        ident("account_id", "account.id"),
        moment("at"),
        day("withdrawn_on", null=True),
        moment("withdrawn_at", null=True),
        sa.PrimaryKeyConstraint("id"),
        sa.CheckConstraint(
            "purpose IN ('measuring', 'research', 'samples', 'photographs')", name="purpose"
        ),
        sa.CheckConstraint("given_by IN ('parent', 'guardian', 'child', 'other')", name="given_by"),
    )
    op.create_index(None, "consent", ["child_id"])
    op.create_table(
        "calibration",
        sa.Column("id", sa.String(64), nullable=False),
        ident("tablet_id", "tablet.id"),
        number("px_per_mm"),
        number("ratio", null=True),
        number("screen_width_mm", null=True),
        number("screen_height_mm", null=True),
        moment("made_at", null=True),
        moment("received_at"),
        ident("account_id", "account.id"),
        sa.PrimaryKeyConstraint("id"),
        sa.CheckConstraint("px_per_mm > 0", name="px_per_mm"),
    )
    op.create_index(None, "calibration", ["tablet_id"])


def _create_plans() -> None:
    op.create_table(
        "task",
        sa.Column("task_id", sa.String(64), nullable=False),
        whole("revision"),
        json("document"),
        text("guide_id", null=True),
        sa.Column("retired", sa.Boolean(), nullable=False),
        ident("account_id", "account.id"),
        moment("at"),
        sa.PrimaryKeyConstraint("task_id", "revision"),
    )
    op.create_table(
        "goal",
        ident("id"),
        whole("version"),
        ident("child_id", "child.id", part=True),
        text("measure"),
        json("criterion"),
        whole("k"),
        whole("n"),
        whole("days"),
        json("conditions"),
        json("help"),
        text("purpose"),
        day("due", null=True),
        json("baseline", null=True),
        text("status"),
        ident("account_id", "account.id"),
        moment("at"),
        sa.PrimaryKeyConstraint("id", "version"),
        sa.CheckConstraint(
            "status IN ('open', 'met', 'continued', 'changed', 'stopped')", name="status"
        ),
        sa.CheckConstraint("k >= 1 AND k <= n", name="k_of_n"),
        sa.CheckConstraint("days >= 1", name="days"),
    )
    op.create_index(None, "goal", ["child_id"])


def _create_additions() -> None:
    op.create_table(
        "amendment",
        whole("number"),
        sa.Column("id", sa.String(36), nullable=False, unique=True),
        ident("trial_id", "trial.id", part=True),
        whole("amendment_no"),
        json("patch"),
        text("reason"),
        ident("account_id", "account.id"),
        moment("at"),
        sa.PrimaryKeyConstraint("number"),
        sa.UniqueConstraint("trial_id", "amendment_no"),
        sa.CheckConstraint("amendment_no >= 1", name="amendment_no"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "void",
        whole("number"),
        sa.Column("id", sa.String(36), nullable=False, unique=True),
        ident("trial_id", "trial.id", part=True),
        sa.Column("voided", sa.Boolean(), nullable=False),
        text("reason"),
        ident("account_id", "account.id"),
        moment("at"),
        sa.PrimaryKeyConstraint("number"),
        sqlite_autoincrement=True,
    )
    op.create_index(None, "void", ["trial_id"])


def _create_notes() -> None:
    op.create_table(
        "observation",
        whole("number"),
        sa.Column("id", sa.String(36), nullable=False, unique=True),
        ident("session_id", "session.id", part=True),
        ident("trial_id", "trial.id", null=True, part=True),
        text("kind"),
        text("text", null=True),
        number("minutes", null=True),
        json("help", null=True),
        ident("account_id", "account.id"),
        moment("at"),
        sa.PrimaryKeyConstraint("number"),
        sqlite_autoincrement=True,
    )
    op.create_index(None, "observation", ["session_id"])
    op.create_index(None, "observation", ["trial_id"])
    op.create_table(
        "note",
        ident("session_id", "session.id", part=True),
        text("state"),
        whole("revision"),
        text("subjective"),
        text("objective"),
        text("assessment"),
        text("plan_text"),
        json("frozen", null=True),
        ident("account_id", "account.id"),
        moment("changed_at"),
        moment("signed_at", null=True),
        ident("signed_by", "account.id", null=True),
        moment("cosigned_at", null=True),
        ident("cosigned_by", "account.id", null=True),
        sa.PrimaryKeyConstraint("session_id"),
        sa.CheckConstraint("state IN ('draft', 'signed', 'returned', 'cosigned')", name="state"),
    )
    op.create_index(None, "note", ["account_id"])
    op.create_table(
        "note_event",
        whole("number"),
        sa.Column("id", sa.String(36), nullable=False, unique=True),
        ident("session_id", "note.session_id", part=True),
        text("kind"),
        text("text", null=True),
        json("content", null=True),
        ident("account_id", "account.id"),
        moment("at"),
        sa.PrimaryKeyConstraint("number"),
        sa.CheckConstraint(
            "kind IN ('drafted', 'signed', 'returned', 'cosigned', 'addendum')", name="kind"
        ),
        sqlite_autoincrement=True,
    )
    op.create_index(None, "note_event", ["session_id"])


def _create_logbook() -> None:
    op.add_column("audit", ident("child_id", null=True))
    op.create_index(None, "audit", ["child_id", "number"])
    op.create_table(
        "export_run",
        ident("id"),
        ident("account_id", "account.id", null=True),
        moment("at"),
        text("table_name"),
        whole("rows", null=True),
        json("left_out"),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "erasure",
        ident("id"),
        ident("child_id"),
        moment("at"),
        text("reason"),
        json("counts"),
        sa.PrimaryKeyConstraint("id"),
        sa.CheckConstraint("reason IN ('asked', 'retention', 'restored')", name="reason"),
    )
    op.create_index(None, "erasure", ["child_id"])
    op.create_table(
        "erased_id", ident("id"), ident("erasure_id", "erasure.id"), sa.PrimaryKeyConstraint("id")
    )
    op.create_table("erasing", ident("child_id"), sa.PrimaryKeyConstraint("child_id"))
    op.create_table(
        "practice_setting",
        whole("number"),
        text("name"),
        json("value"),
        ident("account_id", "account.id"),
        moment("at"),
        sa.PrimaryKeyConstraint("number"),
        sqlite_autoincrement=True,
    )
    op.create_index(None, "practice_setting", ["name"])


def create_tables() -> None:
    """Make the tables that step 0001 did not have."""
    _create_people()
    _create_plans()
    _create_additions()
    _create_notes()
    _create_logbook()
