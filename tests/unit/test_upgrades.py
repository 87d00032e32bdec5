"""Databases of every released schema, with data in them, brought to the newest one."""

import hashlib
import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from fastapi.testclient import TestClient

from server import database
from server.app import create_app
from server.checking import check_database
from server.database import WrongSchema, check_schema, make_engine, newest_revision, upgrade
from server.store_trials import raw_of, trial_by_id
from server.tables import Base, ResultRow
from tests.keepers import DATABASES, columns_of, done, everything, load_dump, refused, rows_of
from tests.practice import ORIGIN, PASSPHRASE, Clock, Practice, drawn, settings_for

FIRST = "0b5e55ed-0000-4000-8000-000000000001"
LATE = "0b5e55ed-0000-4000-8000-000000000005"
# What step 0002 adds to rows that were there before.
DEFAULTS_0002 = {("trial", "kind"): "trial"}


def steps() -> list[str]:
    """All revisions, the oldest first."""
    scripts = ScriptDirectory.from_config(database._alembic_config())
    return [step.revision for step in scripts.walk_revisions()][::-1]


RELEASED = steps()[:-1]


@pytest.fixture(params=RELEASED)
def released(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A database as each release left it."""
    path = tmp_path / "practice.sqlite3"
    load_dump(request.param, path)
    return path


def test_there_is_a_database_of_every_schema_but_the_newest() -> None:
    assert RELEASED
    assert sorted(one.stem for one in DATABASES.glob("*.sql")) == RELEASED


def test_the_readme_has_the_checksum_of_every_database() -> None:
    readme = (DATABASES.parent / "README.md").read_text(encoding="utf-8")
    for one in DATABASES.glob("*.sql"):
        digest = hashlib.sha256(one.read_bytes()).hexdigest()
        assert f"{digest}  databases/{one.name}" in readme
        assert f"`{one.name}`" in readme


def test_every_kind_of_row_of_the_release_is_in_its_database(released: Path) -> None:
    empty = [table for table, rows in everything(released).items() if not rows]
    assert empty == []


def test_a_step_that_was_released_still_makes_what_it_made_then(
    released: Path, tmp_path: Path
) -> None:
    checked = check_database(released, older=True)
    assert checked.findings == []
    assert checked.revision in RELEASED


def test_every_row_is_kept_byte_for_byte(released: Path) -> None:
    columns = columns_of(released)
    del columns["alembic_version"]
    before = rows_of(released, columns)
    assert len(before["trial"]) == 5
    assert {kind for row in before["trial"] for kind in row[1::2]} >= {"blob", "text", "integer"}
    upgrade(settings_for(released))
    after = rows_of(released, columns)
    assert set(after) == set(before)
    for table in before:
        if table == "sqlite_sequence":
            # Tables that count by themselves since then may have been added.
            assert set(before[table]) <= set(after[table])
        else:
            assert after[table] == before[table], table


def test_new_columns_hold_their_defaults(tmp_path: Path) -> None:
    path = tmp_path / "practice.sqlite3"
    load_dump("0001", path)
    old = columns_of(path)
    upgrade(settings_for(path), "0002")
    added = {
        (table, name): None
        for table, names in columns_of(path).items()
        for name in names
        if table in old and name not in old[table]
    }
    assert len(added) > 15
    with closing(sqlite3.connect(path)) as connection:
        for table, name in added:
            values = {row[0] for row in connection.execute(f'SELECT "{name}" FROM "{table}"')}
            assert values == {DEFAULTS_0002.get((table, name))}, (table, name)


def test_the_schema_is_that_of_a_new_database(released: Path) -> None:
    upgrade(settings_for(released))
    engine = make_engine(settings_for(released))
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []
    engine.dispose()
    checked = check_database(released)
    assert checked.findings == []
    assert checked.revision == newest_revision()
    with closing(sqlite3.connect(released)) as connection:
        triggers = "SELECT count(*) FROM sqlite_master WHERE type = 'trigger'"
        assert connection.execute(triggers).fetchone()[0] > 40
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []


def test_a_missing_trigger_and_a_missing_index_would_be_seen(released: Path) -> None:
    upgrade(settings_for(released))
    with closing(sqlite3.connect(released)) as connection:
        connection.execute("DROP TRIGGER mark_never_deleted")
        connection.execute("DROP INDEX ix_mark_trial_id")
    assert check_database(released).findings == [
        "The index ix_mark_trial_id is missing.",
        "The guard mark_never_deleted is missing.",
    ]


def test_the_practice_goes_on_where_it_was(released: Path) -> None:
    with closing(sqlite3.connect(released)) as connection:
        query = "SELECT arrival, sha256 FROM trial WHERE id = ?"
        assert connection.execute(query, (LATE,)).fetchone()[0] == 5
        kept = connection.execute("SELECT trial_id, report FROM result ORDER BY id").fetchall()
        people = connection.execute("SELECT name, id FROM account").fetchall()
        (child,) = connection.execute("SELECT id FROM child WHERE code = 'BW-91'").fetchone()
    upgrade(settings_for(released))
    clock = Clock()
    app = create_app(settings_for(released), clock)
    with TestClient(app, headers=ORIGIN) as client:
        practice = Practice(app, client, clock, released, dict(people))
        signed_in = client.post("/api/sign-in", json={"name": "ferry", "passphrase": PASSPHRASE})
        assert signed_in.status_code == 200
        report = client.get(f"/api/trials/{FIRST}/report").json()
        # [C] the line was drawn 1 mm beside the guide
        assert report["measures"]["deviation_mean_abs"]["value"] == pytest.approx(1.0, abs=1e-6)
        trend = client.get(f"/api/children/{child}/trend?measure=deviation_mean_abs")
        points = {
            (series["hand"], point["value"], point["n"])
            for series in trend.json()["series"]
            for point in series["points"]
        }
        # [C] 1 mm by the hand that the mark names; 3 mm and, late, 1 mm by the one asked for;
        # what was spoilt does not count
        assert points == {("right", 1.0, 1), ("left", 2.0, 2)}
        fresh = drawn(seq=5)
        assert practice.send(practice.tablet(), fresh).status_code == 201
        assert practice.send(practice.tablet(), fresh).status_code == 200
    with app.state.sessions() as db:
        trial = trial_by_id(db, fresh["trial_id"])
        assert trial is not None
        # [C] five trials have arrived before, and no number is used twice
        assert trial.arrival == 6
        assert trial.kind == "trial"
        of_then = db.query(ResultRow).where(ResultRow.analysis_version == "0.2.0")
        results = {row.trial_id: row.report for row in of_then}
        for trial_id, text in kept:
            assert results[trial_id] == json.loads(text)
            old = trial_by_id(db, trial_id)
            assert old is not None
            assert json.loads(raw_of(old))["trial_id"] == trial_id
    app.state.engine.dispose()


def test_the_guards_of_the_newest_schema_hold_for_old_rows(released: Path) -> None:
    upgrade(settings_for(released))
    with closing(sqlite3.connect(released)) as connection:
        for change in ("UPDATE trial SET raw = x'00'", "DELETE FROM mark", "DELETE FROM child"):
            with pytest.raises(sqlite3.IntegrityError, match="never"):
                connection.execute(change)


def test_an_empty_database_of_every_schema_can_be_upgraded(tmp_path: Path) -> None:
    for revision in RELEASED:
        path = tmp_path / f"{revision}.sqlite3"
        upgrade(settings_for(path), revision)
        upgrade(settings_for(path))
        assert check_database(path).findings == []


def test_upgrading_twice_changes_nothing(released: Path) -> None:
    upgrade(settings_for(released))
    once = everything(released)
    upgrade(settings_for(released))
    assert everything(released) == once


def failing(*_args: Any, **_named: Any) -> None:
    raise OSError("the disk is gone")


def failing_at(number: int, whole: Callable[..., None]) -> Callable[..., None]:
    """The function, until it is called for the nth time."""
    calls = []

    def some(*args: Any, **named: Any) -> None:
        calls.append(args)
        if len(calls) == number:
            failing()
        whole(*args, **named)

    return some


@pytest.mark.parametrize("place", ["rebuilt", "create_tables", "create_triggers"])
def test_a_step_that_fails_half_way_leaves_the_schema_before_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, place: str
) -> None:
    from server.migrations import columns

    path = tmp_path / "practice.sqlite3"
    load_dump("0001", path)
    before = everything(path)
    if place == "rebuilt":
        # The fourth table: three have been made anew by then, with all their rows.
        monkeypatch.setattr(columns, "rebuilt", failing_at(4, columns.rebuilt))
    else:
        module = "record_tables" if place == "create_tables" else "record_guards"
        monkeypatch.setattr(f"server.migrations.{module}.{place}", failing)
    with pytest.raises(OSError, match="disk is gone"):
        upgrade(settings_for(path))
    assert everything(path) == before
    assert check_database(path, older=True).findings == []
    monkeypatch.undo()
    upgrade(settings_for(path))
    assert check_database(path).findings == []


def test_a_row_that_would_belong_to_nothing_stops_the_step(tmp_path: Path) -> None:
    path = tmp_path / "practice.sqlite3"
    load_dump("0001", path)
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE token SET account_id = 'nobody'")
    with pytest.raises(database.BrokenKeys, match="row of token"):
        upgrade(settings_for(path))
    assert check_database(path, older=True).revision == "0001"


def test_the_command_makes_a_backup_first_and_says_where(released: Path) -> None:
    before = everything(released)
    said = done("upgrade", "--database", released)
    wanted = newest_revision()
    (kept,) = released.parent.glob(f"practice.sqlite3.before-{wanted}-*Z")
    assert said == f"The schema is {wanted} now. The backup is {kept}\n"
    assert everything(kept) == before
    assert kept.stat().st_mode & 0o777 == 0o600
    assert check_database(released).findings == []
    again = done("upgrade", "--database", released)
    assert again == f"There is nothing to do: the schema is {wanted} already.\n"
    assert list(released.parent.glob("*before*")) == [kept]


def test_the_command_that_fails_says_that_nothing_is_lost_and_where_the_backup_is(
    released: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = everything(released)
    monkeypatch.setattr("server.keeping.upgrade", failing)
    said = refused("upgrade", "--database", released)
    (kept,) = released.parent.glob("*before*")
    assert "has schema 0001 and lost nothing" in said
    assert said.endswith(f"The backup is {kept}.\n")
    assert "disk is gone" not in said
    assert everything(released) == everything(kept) == before


def test_serving_an_old_schema_is_refused_with_the_command_that_helps(released: Path) -> None:
    engine = make_engine(settings_for(released))
    with pytest.raises(WrongSchema, match="run 'linnet upgrade', which makes a backup first"):
        check_schema(engine)
    engine.dispose()


def newer(path: Path) -> None:
    upgrade(settings_for(path))
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")


def test_a_newer_schema_is_refused_in_other_words(tmp_path: Path) -> None:
    path = tmp_path / "practice.sqlite3"
    newer(path)
    engine = make_engine(settings_for(path))
    with pytest.raises(WrongSchema, match="9999, which this program does not know: a newer"):
        check_schema(engine)
    engine.dispose()
    assert "only a newer release can open it" in refused("upgrade", "--database", path)


@pytest.mark.parametrize("content", [b"", b"kites over the bar " * 300])
def test_what_is_no_database_of_ours_is_not_upgraded(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "practice.sqlite3"
    path.write_bytes(content)
    said = refused("upgrade", "--database", path)
    assert "no schema of ours" in said or "cannot be read as a database" in said
    assert path.read_bytes() == content
