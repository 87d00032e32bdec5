"""The triggers of step 0002: what may change, what may not, and what only erasing may delete."""

import sqlalchemy as sa
from alembic import op

# Part of a child's record: deleted only while that child is being erased.
ERASED_WITH_CHILD = (
    "care_link",
    "consent",
    "goal",
    "session",
    "plan",
    "note",
    "note_event",
    "trial",
    "mark",
    "amendment",
    "void",
)
NEVER_DELETED = (
    "account",
    "audit",
    "calibration",
    "erased_id",
    "erasure",
    "export_run",
    "practice_setting",
    "tablet",
    "task",
)
NEVER_UPDATED = (
    "amendment",
    "audit",
    "calibration",
    "erased_id",
    "erasure",
    "export_run",
    "goal",
    "mark",
    "measure_value",
    "note_event",
    "plan",
    "practice_setting",
    "result",
    "task",
    "void",
)
# Columns that keep their first value where the rest of the row may change.
FIXED_COLUMNS = {
    "account": ("id",),
    "care_link": ("id", "account_id", "child_id", "from_day", "made_by"),
    "child": ("id", "study_code", "added_at"),
    "consent": ("id", "child_id", "purpose", "given_on", "given_by", "account_id", "at"),
    "note": ("session_id", "account_id"),
    "observation": ("number", "id", "session_id", "account_id"),
    "session": ("number", "id", "child_id", "plan_id", "day", "account_id"),
    "tablet": ("id", "paired_at"),
    "trial": (
        "arrival",
        "id",
        "kind",
        "seq",
        "received_at",
        "late",
        "sha256",
        "raw",
        "export_key",
        "tablet_id",
    ),
}
# Columns that are empty at first and are filled once.
FILLED_ONCE = {"care_link": "to_day", "consent": "withdrawn_on"}
# INSERT OR REPLACE deletes a row past the triggers on connections without recursive ones.
KEYS = {
    "amendment": ("id",),
    "audit": ("number",),
    "calibration": ("id",),
    "child": ("id",),
    "consent": ("id",),
    "erasure": ("id",),
    "goal": ("id", "version"),
    "mark": ("id",),
    "note": ("session_id",),
    "note_event": ("id",),
    "plan": ("session_id", "version"),
    "session": ("id",),
    "task": ("task_id", "revision"),
    "trial": ("id",),
    "void": ("id",),
}
NOT_ERASING = "NOT EXISTS (SELECT 1 FROM erasing)"
WORDS_OF_NOTE = ("subjective", "objective", "assessment", "plan_text", "frozen")


def drop_triggers() -> None:
    """Drop all triggers: they are made again, in the new words, by `create_triggers`."""
    query = sa.text("SELECT name FROM sqlite_master WHERE type = 'trigger'")
    for (name,) in op.get_bind().execute(query).all():
        op.execute(f"DROP TRIGGER {name}")


def _trigger(name: str, when: str, message: str) -> None:
    op.execute(f"CREATE TRIGGER {name} {when} BEGIN SELECT RAISE(ABORT, '{message}'); END")


def _guard_deletes() -> None:
    for table in NEVER_DELETED:
        _trigger(
            f"{table}_never_deleted", f"BEFORE DELETE ON {table}", f"a {table} is never deleted"
        )
    for table in ERASED_WITH_CHILD:
        _trigger(
            f"{table}_never_deleted",
            f"BEFORE DELETE ON {table} WHEN {NOT_ERASING}",
            f"a {table} is never deleted but with the record of its child",
        )
    _trigger(
        "child_never_deleted",
        "BEFORE DELETE ON child WHEN NOT EXISTS (SELECT 1 FROM erasing WHERE child_id = OLD.id)",
        "a child is never deleted but by erasing",
    )


def _guard_updates() -> None:
    for table in NEVER_UPDATED:
        _trigger(f"{table}_never_updated", f"BEFORE UPDATE ON {table}", f"a {table} never changes")
    for table, columns in FIXED_COLUMNS.items():
        _trigger(
            f"{table}_fixed_columns",
            f"BEFORE UPDATE OF {', '.join(columns)} ON {table}",
            f"these columns of {table} never change",
        )
    for table, column in FILLED_ONCE.items():
        _trigger(
            f"{table}_{column}_filled_once",
            f"BEFORE UPDATE OF {column} ON {table} WHEN OLD.{column} IS NOT NULL",
            f"{column} of {table} is filled once",
        )


def _guard_replacing() -> None:
    for table, columns in KEYS.items():
        same = " AND ".join(f"{column} = NEW.{column}" for column in columns)
        _trigger(
            f"{table}_never_replaced",
            f"BEFORE INSERT ON {table} WHEN EXISTS (SELECT 1 FROM {table} WHERE {same})",  # noqa: S608 - our own names
            f"a {table} is never replaced",
        )


def _signed(row: str) -> str:
    # Signing ends with a co-signature; a returned note may be worked on again.
    of_session = f"session_id = {row}.session_id AND state IN ('signed', 'cosigned')"
    return f"EXISTS (SELECT 1 FROM note WHERE {of_session})"  # noqa: S608 - our own names


def _guard_notes() -> None:
    changed = " OR ".join(f"NEW.{column} IS NOT OLD.{column}" for column in WORDS_OF_NOTE)
    _trigger(
        "note_fixed_when_signed",
        "BEFORE UPDATE ON note WHEN OLD.state = 'cosigned' OR (OLD.state = 'signed' AND "
        f"(NEW.state NOT IN ('cosigned', 'returned') OR {changed}))",
        "a signed note never changes",
    )
    message = "what was observed is fixed once the note is signed"
    _trigger(
        "observation_not_added",
        f"BEFORE INSERT ON observation WHEN {_signed('NEW')}",
        message,
    )
    _trigger(
        "observation_not_changed",
        f"BEFORE UPDATE ON observation WHEN {_signed('OLD')}",
        message,
    )
    _trigger(
        "observation_not_deleted",
        f"BEFORE DELETE ON observation WHEN {NOT_ERASING} AND {_signed('OLD')}",
        message,
    )


def create_triggers() -> None:
    """Guard every table."""
    _guard_deletes()
    _guard_updates()
    _guard_replacing()
    _guard_notes()
