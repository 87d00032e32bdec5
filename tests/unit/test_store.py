"""What the database itself enforces, whoever writes to it."""

import sqlite3
import stat
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError, StatementError
from sqlalchemy.orm import Session

from server.database import (
    DatabaseInUse,
    ProcessLock,
    WrongSchema,
    check_schema,
    make_engine,
    make_sessions,
    newest_revision,
    upgrade,
)
from server.store_accounts import create_account
from server.store_children import create_child
from server.store_sessions import latest_plan, save_plan
from server.store_trials import DamagedRecord, raw_of, trial_by_id
from server.tables import Base, MeasureValue, ResultRow, SignIn
from tests.practice import Practice, drawn, plan, settings_for
from tests.practice import raw_of as bytes_of


@pytest.fixture
def stored(practice: Practice) -> Practice:
    """A practice with one trial, one mark and everything that follows from them."""
    tree, tablet = drawn(), practice.tablet()
    assert practice.send(tablet, tree).status_code == 201
    mark = {"id": "22222222-2222-4222-8222-222222222222", "outcome": "finished"}
    assert tablet.post(f"/api/trials/{tree['trial_id']}/marks", json=mark).status_code == 201
    return practice


@pytest.fixture
def bare(stored: Practice) -> Iterator[sqlite3.Connection]:
    """A connection without any of the program's own settings."""
    with closing(sqlite3.connect(stored.path)) as connection:
        yield connection


@pytest.fixture
def db(practice: Practice) -> Iterator[Session]:
    with practice.app.state.sessions() as session:
        yield session


def test_migrations_make_exactly_the_tables_of_the_program(tmp_path: Path) -> None:
    settings = settings_for(tmp_path / "new.sqlite3")
    upgrade(settings)
    engine = make_engine(settings)
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []
        assert context.get_current_revision() == newest_revision()
    engine.dispose()


def test_checks_of_the_tables_are_checks_of_the_database(tmp_path: Path) -> None:
    settings = settings_for(tmp_path / "new.sqlite3")
    upgrade(settings)
    with closing(sqlite3.connect(settings.database_path)) as connection:
        made = " ".join(
            sql for (sql,) in connection.execute("SELECT sql FROM sqlite_master") if sql
        )
    names = {
        str(check.name)
        for table in Base.metadata.tables.values()
        for check in table.constraints
        if check.name is not None
    }
    # SQLite does not name the key of a table that counts by itself.
    names -= {
        f"pk_{table.name}"
        for table in Base.metadata.tables.values()
        if table.dialect_options["sqlite"]["autoincrement"]
    }
    assert len(names) > 30
    assert {name for name in names if name not in made} == set()


def test_a_step_that_fails_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from alembic.operations import Operations

    def fail(*_args: object, **_kwargs: object) -> None:
        raise OSError("the disk is gone")

    settings = settings_for(tmp_path / "new.sqlite3")
    monkeypatch.setattr(Operations, "execute", fail)
    with pytest.raises(OSError, match="disk is gone"):
        upgrade(settings)
    with closing(sqlite3.connect(settings.database_path)) as connection:
        tables = connection.execute("SELECT name FROM sqlite_master WHERE name = 'trial'")
        assert tables.fetchall() == []
    monkeypatch.undo()
    upgrade(settings)


def test_a_database_without_the_newest_schema_is_refused(tmp_path: Path) -> None:
    engine = make_engine(settings_for(tmp_path / "old.sqlite3"))
    with pytest.raises(WrongSchema, match="has schema none, this program needs"):
        check_schema(engine)
    engine.dispose()


def test_files_are_readable_by_their_owner_only(stored: Practice) -> None:
    files = sorted(stored.path.parent.glob("practice.sqlite3*"))
    assert [one.name.removeprefix("practice.sqlite3") for one in files] == [
        "",
        "-lock",
        "-shm",
        "-wal",
    ]
    assert {stat.S_IMODE(one.stat().st_mode) for one in files} == {0o600}


def test_the_connection_is_safe_against_power_loss_and_strays(practice: Practice) -> None:
    with practice.app.state.engine.connect() as connection:

        def pragma(name: str) -> object:
            return connection.execute(text(f"PRAGMA {name}")).scalar()

        assert pragma("journal_mode") == "wal"
        assert pragma("synchronous") == 2  # [P] SQLite manual: FULL is 2
        assert pragma("foreign_keys") == 1
        assert pragma("recursive_triggers") == 1


def test_one_process_serves_a_database(practice: Practice) -> None:
    with pytest.raises(DatabaseInUse, match="already served"):
        ProcessLock(practice.path)


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE trial SET raw = x'00'",
        "UPDATE trial SET sha256 = replace(sha256, 'a', 'b')",
        "UPDATE trial SET id = 'x'",
        "UPDATE trial SET received_at = '2020-01-01'",
        "UPDATE trial SET late = 1",
        "UPDATE trial SET seq = 1",
        "UPDATE trial SET export_key = 'x'",
        "DELETE FROM trial",
        "INSERT OR REPLACE INTO trial SELECT * FROM trial",
        "INSERT OR REPLACE INTO trial SELECT arrival + 1, id, session_id, kind, seq, received_at,"
        " late, sha256, x'00', 'other', tablet_id FROM trial",
        "UPDATE mark SET outcome = 'spoilt'",
        "DELETE FROM mark",
        "UPDATE plan SET plan = '{}'",
        "DELETE FROM plan",
        "UPDATE audit SET verb = 'saw'",
        "DELETE FROM audit",
        "UPDATE result SET report = '{}'",
        "UPDATE measure_value SET value = 1 WHERE value IS NOT NULL",
        "UPDATE session SET child_id = child_id",
        "UPDATE session SET day = '2020-01-01'",
        "UPDATE child SET study_code = 'x'",
        "UPDATE care_link SET from_day = '2020-01-01'",
        "DELETE FROM care_link",
    ],
)
def test_what_must_not_change_cannot_be_changed_with_any_program(
    bare: sqlite3.Connection, change: str
) -> None:
    def everything() -> list[str]:
        return list(bare.iterdump())

    before = everything()
    with pytest.raises(sqlite3.IntegrityError, match=r"never|UNIQUE"):
        bare.execute(change)
    bare.rollback()
    assert everything() == before


def test_a_trial_may_move_to_another_session_and_a_link_may_end(
    bare: sqlite3.Connection, stored: Practice
) -> None:
    other = stored.ids["Wren session"]
    assert bare.execute("UPDATE trial SET session_id = ?", (other,)).rowcount == 1
    assert bare.execute("UPDATE care_link SET to_day = '2026-04-01'").rowcount == 2


@pytest.mark.parametrize(
    ("value", "reason", "fits"),
    [(1.0, None, True), (None, "no_time", True), (1.0, "no_time", False), (None, None, False)],
)
def test_a_measure_has_a_value_or_a_reason_never_both(
    bare: sqlite3.Connection, value: float | None, reason: str | None, fits: bool
) -> None:
    new = "INSERT INTO measure_value SELECT id, 'invented', ?, ? FROM result"
    if fits:
        assert bare.execute(new, (value, reason)).rowcount == 1
    else:
        with pytest.raises(sqlite3.IntegrityError, match="value_xor_reason"):
            bare.execute(new, (value, reason))


def test_a_result_is_unique_by_trial_amendment_and_version(bare: sqlite3.Connection) -> None:
    columns = "trial_id, amendment_no, analysis_version, report, facts"
    copy = f"INSERT INTO result ({columns}) SELECT trial_id, {{}}, analysis_version, report, facts"
    with pytest.raises(sqlite3.IntegrityError, match="UNIQUE"):
        bare.execute(copy.format("0") + " FROM result")
    assert bare.execute(copy.format("1") + " FROM result").rowcount == 1


def test_the_table_of_values_says_what_the_report_says(stored: Practice) -> None:
    with stored.app.state.sessions() as db:
        (result,) = db.query(ResultRow).all()
        values = {one.measure: one for one in db.query(MeasureValue).all()}
        assert set(values) == set(result.report["measures"])
        for name, one in result.report["measures"].items():
            assert values[name].value == one["value"]
            assert values[name].reason == one.get("reason")


def test_rows_that_belong_to_nothing_are_refused(db: Session) -> None:
    with pytest.raises(IntegrityError, match="FOREIGN KEY"):
        db.execute(
            text("INSERT INTO care_link (account_id, child_id, from_day) VALUES ('a', 'b', 'c')")
        )


def test_damage_on_the_disk_is_found_when_a_record_is_read(stored: Practice) -> None:
    with closing(sqlite3.connect(stored.path)) as bare, bare:
        trial_id, kept = bare.execute("SELECT id, raw FROM trial").fetchone()
        damaged = kept[:100] + bytes([kept[100] ^ 1]) + kept[101:]
        bare.execute("DROP TRIGGER trial_fixed_columns")
        bare.execute("UPDATE trial SET raw = ?", (damaged,))
    with stored.app.state.sessions() as db:
        trial = trial_by_id(db, trial_id)
        assert trial is not None
        with pytest.raises(DamagedRecord, match=trial_id):
            raw_of(trial)


def test_store_then_read_returns_equal_bytes(practice: Practice) -> None:
    tree = drawn()
    practice.send(practice.tablet(), tree)
    with practice.app.state.sessions() as db:
        trial = trial_by_id(db, tree["trial_id"])
        assert trial is not None
        assert raw_of(trial) == bytes_of(tree)


def test_a_plan_keeps_its_items(db: Session, practice: Practice) -> None:
    session_id = practice.ids["Gull session"]
    with pytest.raises(ValueError, match="close them instead"):
        save_plan(db, session_id, {"items": []})
    assert save_plan(db, session_id, plan())["version"] == 2
    latest = latest_plan(db, session_id)
    assert latest is not None
    assert latest["version"] == 2


def test_a_role_that_does_not_exist_is_refused(db: Session) -> None:
    for roles in (set(), {"captain"}):
        with pytest.raises(ValueError, match="roles must be"):
            create_account(db, name="x", passphrase="y", roles=roles)


@pytest.mark.parametrize("month", ["2019-13", "19-06", "June"])
def test_a_birth_month_that_is_none_is_refused(db: Session, month: str) -> None:
    with pytest.raises(ValueError, match=r"isoformat|month"):
        create_child(db, code="BW-93", sign="kite crab", birth_month=month)


def test_a_moment_without_a_time_zone_is_refused(db: Session, practice: Practice) -> None:
    naive = practice.clock.now.replace(tzinfo=None)
    db.add(SignIn(hash="h", account_id=practice.ids["ferry"], expires_at=naive))
    with pytest.raises(StatementError, match="needs a time zone"):
        db.flush()


def test_sessions_maker_gives_objects_that_stay_readable(practice: Practice) -> None:
    engine = make_engine(settings_for(practice.path))
    with make_sessions(engine)() as db:
        child = create_child(db, code="BW-93", sign="kite crab")
        db.commit()
    assert child.code == "BW-93"
    engine.dispose()
