"""First tables, and the triggers that keep what must not change."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

ROLES = "role IN ('assistant', 'supervisor', 'researcher', 'owner')"
OUTCOMES = "outcome IN ('finished', 'stopped', 'spoilt', 'not_done')"

# A row of these is written once. Results may be dropped (they can be computed again).
NEVER_UPDATED = ("plan", "mark", "audit", "result", "measure_value")
NEVER_DELETED = ("trial", "plan", "mark", "audit", "care_link")
# Columns that keep their first value where the rest of the row may change.
FIXED_COLUMNS = {
    "trial": ("arrival", "id", "seq", "received_at", "late", "sha256", "raw", "export_key"),
    "child": ("id", "study_code"),
    "session": ("number", "id", "child_id", "plan_id", "day"),
    "care_link": ("id", "account_id", "child_id", "from_day"),
}


def _id(name: str, references: str | None = None, *, null: bool = False) -> sa.Column[str]:
    keys = [] if references is None else [sa.ForeignKey(references)]
    return sa.Column(name, sa.String(36), *keys, nullable=null)


def _text(name: str, *, null: bool = False, unique: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.String(), nullable=null, unique=unique)


def _hash(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.String(64), nullable=False)


def _moment(name: str, *, null: bool = False) -> sa.Column[object]:
    return sa.Column(name, sa.DateTime(), nullable=null)


def _whole(name: str, *, null: bool = False) -> sa.Column[int]:
    return sa.Column(name, sa.Integer(), nullable=null)


def _create_people() -> None:
    op.create_table(
        "account",
        _id("id"),
        _text("name", unique=True),
        _text("passphrase_hash"),
        _id("supervisor_id", "account.id", null=True),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(None, "account", ["supervisor_id"])
    op.create_table(
        "account_role",
        _id("account_id", "account.id"),
        _text("role"),
        sa.PrimaryKeyConstraint("account_id", "role"),
        sa.CheckConstraint(ROLES, name="role"),
    )
    op.create_table(
        "child",
        _id("id"),
        _text("code", unique=True),
        _text("nickname", null=True),
        _text("sign"),
        _text("birth_month", null=True),
        _text("preferred_hand", null=True),
        _text("study_code", unique=True),
        sa.PrimaryKeyConstraint("id"),
        sa.CheckConstraint("length(birth_month) = 7", name="birth_month"),
        sa.CheckConstraint("preferred_hand IN ('left', 'right', 'mixed')", name="hand"),
    )
    op.create_table(
        "care_link",
        _whole("id"),
        _id("account_id", "account.id"),
        _id("child_id", "child.id"),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("to_day", sa.Date(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(None, "care_link", ["account_id"])
    op.create_index(None, "care_link", ["child_id"])


def _create_rights() -> None:
    op.create_table("tablet", _id("id"), _moment("paired_at"), sa.PrimaryKeyConstraint("id"))
    op.create_table(
        "token",
        _hash("hash"),
        _id("tablet_id", "tablet.id"),
        _id("account_id", "account.id"),
        _moment("read_until"),
        _moment("write_until"),
        _moment("revoked_at", null=True),
        sa.PrimaryKeyConstraint("hash"),
    )
    op.create_index(None, "token", ["tablet_id"])
    op.create_table(
        "pairing_code",
        _hash("hash"),
        _id("account_id", "account.id"),
        _moment("expires_at"),
        _moment("used_at", null=True),
        sa.PrimaryKeyConstraint("hash"),
    )
    op.create_table(
        "sign_in",
        _hash("hash"),
        _id("account_id", "account.id"),
        _moment("expires_at"),
        _moment("ended_at", null=True),
        sa.PrimaryKeyConstraint("hash"),
    )
    for table in ("token", "pairing_code", "sign_in"):
        op.create_index(None, table, ["account_id"])


def _create_sessions() -> None:
    op.create_table(
        "session",
        _whole("number"),
        sa.Column("id", sa.String(36), nullable=False, unique=True),
        _id("child_id", "child.id"),
        sa.Column("plan_id", sa.String(36), nullable=False, unique=True),
        sa.Column("day", sa.Date(), nullable=False),
        _moment("started_at", null=True),
        _moment("ended_at", null=True),
        _moment("closed_at", null=True),
        _text("place", null=True),
        _text("position", null=True),
        _text("attendance", null=True),
        sa.PrimaryKeyConstraint("number"),
        sqlite_autoincrement=True,
    )
    op.create_index(None, "session", ["child_id", "day"])
    op.create_index(None, "session", ["day"])
    op.create_table(
        "plan",
        _id("session_id", "session.id"),
        _whole("version"),
        sa.Column("plan", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("session_id", "version"),
    )


def _create_trials() -> None:
    op.create_table(
        "trial",
        _whole("arrival"),
        sa.Column("id", sa.String(36), nullable=False, unique=True),
        _id("session_id", "session.id"),
        _whole("seq", null=True),
        _moment("received_at"),
        sa.Column("late", sa.Boolean(), nullable=False),
        _hash("sha256"),
        sa.Column("raw", sa.LargeBinary(), nullable=False),
        _text("export_key", unique=True),
        sa.PrimaryKeyConstraint("arrival"),
        sa.CheckConstraint("length(sha256) = 64", name="sha256"),
        sqlite_autoincrement=True,
    )
    op.create_index(None, "trial", ["session_id", "seq"])
    op.create_table(
        "mark",
        _whole("number"),
        sa.Column("id", sa.String(36), nullable=False, unique=True),
        _id("trial_id", "trial.id"),
        _id("account_id", "account.id"),
        _moment("at"),
        _text("outcome", null=True),
        _text("why", null=True),
        _text("hand_used", null=True),
        sa.Column("help", sa.JSON(), nullable=True),
        sa.PrimaryKeyConstraint("number"),
        sa.CheckConstraint(OUTCOMES, name="outcome"),
        sa.CheckConstraint("hand_used IN ('left', 'right', 'both')", name="hand_used"),
        sqlite_autoincrement=True,
    )
    op.create_index(None, "mark", ["trial_id"])


def _create_results() -> None:
    op.create_table(
        "result",
        _whole("id"),
        _id("trial_id", "trial.id"),
        _whole("amendment_no"),
        _text("analysis_version"),
        sa.Column("report", sa.JSON(), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("trial_id", "amendment_no", "analysis_version"),
    )
    op.create_table(
        "measure_value",
        sa.Column(
            "result_id",
            sa.Integer(),
            sa.ForeignKey("result.id", ondelete="CASCADE"),
            nullable=False,
        ),
        _text("measure"),
        sa.Column("value", sa.Double(), nullable=True),
        _text("reason", null=True),
        sa.PrimaryKeyConstraint("result_id", "measure"),
        sa.CheckConstraint("(value IS NULL) <> (reason IS NULL)", name="value_xor_reason"),
    )


def _create_audit() -> None:
    op.create_table(
        "audit",
        _whole("number"),
        _moment("at"),
        _id("account_id", null=True),
        _text("verb"),
        _text("kind"),
        _id("object_id", null=True),
        sa.PrimaryKeyConstraint("number"),
        sqlite_autoincrement=True,
    )
    op.create_index(None, "audit", ["account_id", "object_id", "verb"])


def _trigger(name: str, when: str, message: str) -> None:
    op.execute(f"CREATE TRIGGER {name} {when} BEGIN SELECT RAISE(ABORT, '{message}'); END")


def _create_triggers() -> None:
    for table in NEVER_UPDATED:
        _trigger(f"{table}_never_updated", f"BEFORE UPDATE ON {table}", f"a {table} never changes")
    for table in NEVER_DELETED:
        _trigger(
            f"{table}_never_deleted", f"BEFORE DELETE ON {table}", f"a {table} is never deleted"
        )
    for table, columns in FIXED_COLUMNS.items():
        _trigger(
            f"{table}_fixed_columns",
            f"BEFORE UPDATE OF {', '.join(columns)} ON {table}",
            f"these columns of {table} never change",
        )
    # INSERT OR REPLACE removes the old row without the delete trigger on connections that
    # did not switch recursive triggers on.
    _trigger(
        "trial_never_replaced",
        "BEFORE INSERT ON trial WHEN EXISTS (SELECT 1 FROM trial WHERE id = NEW.id)",
        "a trial is never replaced",
    )


def upgrade() -> None:
    """Apply the step."""
    _create_people()
    _create_rights()
    _create_sessions()
    _create_trials()
    _create_results()
    _create_audit()
    _create_triggers()
