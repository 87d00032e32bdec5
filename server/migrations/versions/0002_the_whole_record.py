"""The whole record: rights, goals, notes, amendments, erasure; keys that cascade.

SQLite cannot change a foreign key, so tables that are erased with a child are made anew and
their rows copied. `server.database.upgrade` switches foreign keys off meanwhile and checks
them all before the step is kept.
"""

import sqlalchemy as sa
from alembic import op

from server.migrations.columns import day, ident, json, moment, rebuilt, text, whole
from server.migrations.record_guards import create_triggers, drop_triggers
from server.migrations.record_tables import create_tables

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def _change_people() -> None:
    for column in (
        moment("added_at", null=True),
        moment("closed_at", null=True),
        text("second_factor", null=True),
        moment("second_factor_since", null=True),
        whole("second_factor_step", null=True),
    ):
        op.add_column("account", column)
    for column in (moment("started_at", null=True), moment("seen_at", null=True)):
        op.add_column("sign_in", column)
    op.add_column("child", moment("added_at", null=True))
    op.add_column("child", day("retention_until", null=True))
    op.create_index(None, "child", ["retention_until"])
    op.add_column("tablet", text("label", null=True))
    rebuilt(
        "care_link",
        whole("id"),
        ident("account_id", "account.id"),
        ident("child_id", "child.id", part=True),
        day("from_day"),
        day("to_day", null=True),
        ident("made_by", "account.id", null=True),
        sa.PrimaryKeyConstraint("id"),
        ids=False,
    )
    op.create_index(None, "care_link", ["account_id"])
    op.create_index(None, "care_link", ["child_id"])


def _change_sessions() -> None:
    rebuilt(
        "session",
        whole("number"),
        sa.Column("id", sa.String(36), nullable=False, unique=True),
        ident("child_id", "child.id", part=True),
        sa.Column("plan_id", sa.String(36), nullable=False, unique=True),
        day("day"),
        moment("started_at", null=True),
        moment("ended_at", null=True),
        moment("closed_at", null=True),
        text("place", null=True),
        text("position", null=True),
        text("attendance", null=True),
        text("kind", null=True),
        ident("account_id", "account.id", null=True),
        sa.PrimaryKeyConstraint("number"),
        sa.CheckConstraint("kind IN ('individual', 'group')", name="kind"),
    )
    op.create_index(None, "session", ["child_id", "day"])
    op.create_index(None, "session", ["day"])
    rebuilt(
        "plan",
        ident("session_id", "session.id", part=True),
        whole("version"),
        json("plan"),
        ident("account_id", "account.id", null=True),
        moment("at", null=True),
        sa.PrimaryKeyConstraint("session_id", "version"),
        ids=False,
    )


def _change_trials() -> None:
    rebuilt(
        "trial",
        whole("arrival"),
        sa.Column("id", sa.String(36), nullable=False, unique=True),
        ident("session_id", "session.id", part=True),
        sa.Column("kind", sa.String(), nullable=False, server_default="trial"),
        whole("seq", null=True),
        moment("received_at"),
        sa.Column("late", sa.Boolean(), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("raw", sa.LargeBinary(), nullable=False),
        sa.Column("export_key", sa.String(), nullable=False, unique=True),
        ident("tablet_id", "tablet.id", null=True),
        sa.PrimaryKeyConstraint("arrival"),
        sa.CheckConstraint("length(sha256) = 64", name="sha256"),
        sa.CheckConstraint("kind IN ('trial', 'cut', 'entry')", name="kind"),
    )
    op.create_index(None, "trial", ["session_id", "seq"])
    op.create_index(None, "trial", ["tablet_id"])
    rebuilt(
        "mark",
        whole("number"),
        sa.Column("id", sa.String(36), nullable=False, unique=True),
        ident("trial_id", "trial.id", part=True),
        ident("account_id", "account.id"),
        moment("at"),
        text("outcome", null=True),
        text("why", null=True),
        text("hand_used", null=True),
        json("help", null=True),
        sa.PrimaryKeyConstraint("number"),
        sa.CheckConstraint(
            "outcome IN ('finished', 'stopped', 'spoilt', 'not_done')", name="outcome"
        ),
        sa.CheckConstraint("hand_used IN ('left', 'right', 'both')", name="hand_used"),
    )
    op.create_index(None, "mark", ["trial_id"])
    rebuilt(
        "result",
        whole("id"),
        ident("trial_id", "trial.id", part=True),
        whole("amendment_no"),
        text("analysis_version"),
        json("report"),
        json("facts"),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("trial_id", "amendment_no", "analysis_version"),
        ids=False,
    )


def upgrade() -> None:
    """Apply the step."""
    # Else renaming a table would rename it in the keys of other tables too.
    op.execute("PRAGMA legacy_alter_table = ON")
    drop_triggers()
    _change_people()
    _change_sessions()
    _change_trials()
    create_tables()
    create_triggers()
