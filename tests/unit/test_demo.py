"""Filling the demo's database: through the stores, once, whatever happens on the way."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server import demo, demo_files, processes
from server.auth import passphrase_fits
from server.database import make_engine, make_sessions, upgrade
from server.demo_scoring import all_scored
from server.goal_progress import progress_of, since_of
from server.plan_formats import DayDocument
from server.settings import Settings
from server.store_accounts import account_by_name, create_account
from server.store_children import children_of
from server.store_day import day_pack
from server.store_goals import goals_of
from server.store_marks import latest_marks
from server.store_sessions import latest_plan, sessions_of
from server.store_trials import document_of, report_of, trials_of_child, trials_of_session
from server.tables import Account, GoalRow, MarkRow, ResultRow, TrialRow
from tests.kept_demo import KeptDemo
from tests.short_demo import shortened

TODAY = date(2026, 11, 25)
LEVEL = ("left_to_right", "right_to_left")
NOW = datetime(2026, 11, 25, 8, 30, tzinfo=UTC)


def clock() -> datetime:
    return NOW


@contextmanager
def empty_database(folder: Path) -> Iterator[Session]:
    settings = Settings(f"sqlite:///{folder / 'demo.sqlite3'}", time_zone="UTC")
    upgrade(settings)
    engine = make_engine(settings)
    with make_sessions(engine)() as session:
        yield session
    engine.dispose()


@pytest.fixture
def db(tmp_path: Path) -> Iterator[Session]:
    with empty_database(tmp_path) as session:
        yield session


@pytest.fixture
def short(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(demo, "read_scenario", shortened)


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Session]:
    """A database with the short scenario, to be read only."""
    with empty_database(tmp_path_factory.mktemp("filled")) as session:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(demo, "read_scenario", shortened)
            fill(session, progress=lambda *far: session.info.setdefault("seen", []).append(far))
        yield session


def fill(db: Session, **options: Any) -> demo_files.DemoAccounts:
    return demo.fill(db, today=TODAY, clock=clock, **({"workers": 1} | options))


def rows(db: Session, table: type) -> int:
    return db.scalar(select(func.count()).select_from(table)) or 0


def test_the_whole_scenario_is_three_children_with_twelve_sessions_of_six_to_eight_trials():
    scenario, trials = demo_files.read_scenario(), demo_files.read_trials()
    counts = [
        [len(session["marks"]) for session in child["sessions"]] for child in scenario["children"]
    ]
    assert [len(sessions) for sessions in counts] == [12, 12, 12]
    assert {count for sessions in counts for count in sessions} <= {6, 7, 8}
    assert sum(map(sum, counts)) == len(trials)


def test_everybody_can_sign_in_and_sees_who_they_should(filled):
    accounts = demo_files.accounts_of(demo_files.read_scenario())
    assert {(one.role, one.name) for one in accounts.accounts} == {
        ("supervisor", "harbour"),
        ("assistant", "ferry"),
        ("researcher", "beacon"),
        ("owner", "purser"),
    }
    seen = {}
    for one in accounts.accounts:
        account = account_by_name(filled, one.name)
        assert passphrase_fits(account, one.passphrase)
        seen[one.name] = [child.nickname for child in children_of(filled, account)]
    assert seen == {
        "harbour": ["Gull", "Wren", "Puffin"],
        "ferry": ["Gull", "Wren"],
        "beacon": [],
        "purser": [],
    }


def test_every_trial_is_stored_scored_and_marked(filled):
    wanted = [
        mark
        for child in shortened()["children"]
        for session in child["sessions"]
        for mark in session["marks"]
    ]
    marks = latest_marks(filled, [mark["trial_id"] for mark in wanted])
    assert len(marks) == rows(filled, TrialRow) == rows(filled, ResultRow) == len(wanted)
    for mark in wanted:
        kept = marks[mark["trial_id"]]
        assert (kept.outcome, kept.why, kept.hand_used, kept.help) == (
            mark["outcome"],
            mark["why"],
            mark["hand_used"],
            mark["help"],
        )


@pytest.mark.parametrize("today", [TODAY + timedelta(days=k) for k in range(7)])
def test_days_move_by_whole_weeks_to_a_few_days_ago(today):
    scenario = demo_files.read_scenario()
    shift = demo._shift(scenario, today)
    last = max(session["day"] for child in scenario["children"] for session in child["sessions"])
    assert shift.days % 7 == 0
    assert 2 <= (today - date.fromisoformat(last) - shift).days <= 8


def test_only_the_day_of_a_trial_is_changed(filled):
    originals = demo_files.read_trials()
    for account in ("ferry", "harbour"):
        for child in children_of(filled, account_by_name(filled, account)):
            for trial in trials_of_child(filled, child.id):
                document = document_of(trial)
                original = originals[trial.id]
                moved = datetime.fromisoformat(document.started_at)
                before = datetime.fromisoformat(original["started_at"])
                assert (moved - before) == demo._shift(demo_files.read_scenario(), TODAY)
                plain = document.model_dump(exclude_unset=True)
                assert plain | {"started_at": ""} == original | {"started_at": ""}
                assert before.date() + (moved - before) == moved.date()


def test_trials_lie_on_the_day_of_their_session(filled):
    for child in children_of(filled, account_by_name(filled, "harbour")):
        for session in sessions_of(filled, child.id):
            for trial in trials_of_session(filled, session.id):
                assert datetime.fromisoformat(document_of(trial).started_at).date() == session.day
                assert session.started_at < trial.received_at < session.ended_at


def test_a_paired_tablet_has_something_to_draw_today(filled):
    accounts = demo_files.accounts_of(demo_files.read_scenario())
    account = account_by_name(filled, accounts.tablet_name)
    pack = day_pack(filled, account, TODAY, tablet_id="quay", expires_at=NOW + timedelta(hours=12))
    DayDocument.model_validate(pack)
    (plan,) = pack["plans"]
    assert 6 <= len(plan["items"]) <= 8
    assert {item["state"] for item in plan["items"]} == {"open"}
    cells = {(item["condition"]["hand"], item["condition"]["direction"]) for item in plan["items"]}
    both_ways = [(hand, way) for hand in ("left", "right") for way in LEVEL]
    assert cells >= set(both_ways)
    assert len({item["task"]["task_id"] for item in plan["items"]}) >= 3


def test_a_plan_and_its_trials_carry_the_same_guides(filled):
    child = children_of(filled, account_by_name(filled, "ferry"))[0]
    session = sessions_of(filled, child.id)[0]
    guides = {item["item_id"]: item["guide"] for item in latest_plan(filled, session.id)["items"]}
    trials = trials_of_session(filled, session.id)
    assert len(trials) == 8
    for trial in trials:
        document = document_of(trial)
        assert document.guide.model_dump(exclude_unset=True) == guides[document.plan.item_id]
        assert report_of(filled, trial)["guide_id"] == document.guide.id


def test_two_children_have_a_goal_with_trials_that_count(filled):
    counted = {}
    for child in children_of(filled, account_by_name(filled, "harbour")):
        for goal in goals_of(filled, child.id):
            assert goal.status == "open"
            assert date.fromisoformat(goal.baseline["day"]) < goal.at.date() < TODAY
            assert goal.due > TODAY
            since = since_of([goal], goal.at.date())
            told = progress_of(filled, goal, since)
            counted[child.nickname] = (told["latest"]["k"], told["counted"], told["left_out"])
    # [C] Their last session holds two trials of the goal: Gull met both, Wren one.
    assert counted == {"Gull": (2, 2, []), "Wren": (1, 2, [])}


def test_filling_again_changes_nothing(db, short):
    first = fill(db)
    tables = (Account, GoalRow, TrialRow, ResultRow, MarkRow)
    before = [rows(db, table) for table in tables]
    assert demo.fill(db, today=TODAY + timedelta(days=40), clock=clock, workers=1) == first
    assert [rows(db, table) for table in tables] == before


def test_a_demo_kept_by_an_earlier_release_gets_its_owner_and_nothing_else(db, monkeypatch):
    def of_an_earlier_release() -> dict[str, Any]:
        scenario = shortened()
        scenario["accounts"] = [one for one in scenario["accounts"] if one["name"] != "purser"]
        return scenario

    monkeypatch.setattr(demo, "read_scenario", of_an_earlier_release)
    fill(db)
    assert account_by_name(db, "purser") is None
    before = [rows(db, table) for table in (Account, TrialRow, MarkRow)]
    monkeypatch.setattr(demo, "read_scenario", shortened)
    fill(db)
    assert account_by_name(db, "purser").roles == {"owner"}
    after = [rows(db, table) for table in (Account, TrialRow, MarkRow)]
    assert after == [before[0] + 1, *before[1:]]


def test_an_interrupted_filling_is_finished_the_next_time(db, short):
    def stop(done: int, _all: int) -> None:
        if done == 5:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        fill(db, progress=stop)
    db.rollback()
    assert rows(db, MarkRow) == 5
    seen = []
    demo.fill(
        db,
        today=TODAY + timedelta(days=8),
        clock=clock,
        workers=1,
        progress=lambda done, count: seen.append((done, count)),
    )
    assert rows(db, TrialRow) == rows(db, MarkRow) == rows(db, ResultRow) == 21
    assert seen[-1] == (16, 16)


def test_a_database_with_other_people_is_refused(db):
    create_account(db, name="mole", passphrase="a lamp on the outer mole", roles={"supervisor"})
    db.commit()
    with pytest.raises(demo.NotEmpty):
        fill(db)
    assert rows(db, Account) == 1


def test_processes_compute_what_one_process_computes():
    raws = [demo._moved(one, timedelta(0)) for one in list(demo_files.read_trials().values())[:5]]
    assert list(all_scored(raws, 2)) == list(all_scored(raws, 1))


def test_without_processes_the_rest_is_computed_here(monkeypatch):
    class Broken:
        def __init__(self, *args: object, **options: object) -> None:
            raise OSError

    monkeypatch.setattr(processes, "ProcessPoolExecutor", Broken)
    raws = [demo._moved(one, timedelta(0)) for one in list(demo_files.read_trials().values())[:2]]
    assert len(list(all_scored(raws, 2))) == 2


def test_an_installed_linnet_reads_the_scenario_beside_the_server(tmp_path, monkeypatch):
    inside = tmp_path / "server" / "scenario"
    inside.mkdir(parents=True)
    (inside / "scenario.json").write_text('{"accounts": []}', encoding="utf-8")
    monkeypatch.setattr(demo_files.resources, "files", lambda name: tmp_path / name)
    assert demo_files.read_scenario() == {"accounts": []}


def test_a_missing_scenario_says_where_it_should_be(tmp_path, monkeypatch):
    monkeypatch.setattr(demo_files.resources, "files", lambda name: tmp_path / name)
    with pytest.raises(FileNotFoundError, match="server/scenario"):
        demo_files.read_scenario()


def test_how_far_the_filling_is_is_told_trial_by_trial(filled):
    assert filled.info["seen"] == [(done, 21) for done in range(1, 22)]


@pytest.mark.slow
def test_the_whole_demo_is_filled(kept_demo: KeptDemo, tmp_path: Path):
    with kept_demo.opened(tmp_path) as db:
        assert rows(db, TrialRow) == rows(db, ResultRow) == rows(db, MarkRow) == 252
