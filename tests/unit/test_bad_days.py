"""Days on which everything comes at the wrong time, twice, or from the wrong place."""

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import event

from server import pairing
from server.app import create_app
from server.store_accounts import account_by_id
from server.store_children import create_child, link
from server.store_plans import save_plan
from server.store_sessions import create_session
from server.tables import Child
from tests.practice import (
    NOON,
    ORIGIN,
    PLAN_GULL,
    PLAN_WREN,
    TODAY,
    Clock,
    Practice,
    drawn,
    plan,
    settings_for,
)
from tests.problem_form import assert_problem

DAY = timedelta(days=1)
FIRST = "10000000-0000-4000-8000-000000000001"


def rows(practice: Practice, query: str) -> list[Any]:
    with closing(sqlite3.connect(practice.path)) as connection:
        return connection.execute(query).fetchall()


def pair(practice: Practice, name: str = "ferry", old: str | None = None) -> pairing.Pairing:
    """Pair a tablet now; `old` is the token it shows."""
    with practice.app.state.sessions() as db:
        code, _ = pairing.make_code(db, practice.ids[name], practice.clock.now)
        settings = practice.app.state.settings
        paired = pairing.pair(db, code, practice.clock.now, settings, old_token=old)
        db.commit()
    assert paired is not None
    return paired


def add_session(practice: Practice, day: date, child: str = "Gull") -> str:
    """Add a session with a plan on a day; returns the id of its plan."""
    with practice.app.state.sessions() as db:
        session = create_session(db, child_id=practice.ids[child], day=day)
        save_plan(db, session.id, plan())
        db.commit()
        return session.plan_id


def trials_of(practice: Practice) -> list[Any]:
    path = f"/api/children/{practice.ids['Gull']}/trials"
    answer = practice.desk("ferry").get(path)
    assert answer.status_code == 200, answer.text
    found: list[Any] = answer.json()["trials"]
    return found


def fetched(tablet: TestClient, etag: str | None = None) -> Any:
    headers = {} if etag is None else {"If-None-Match": etag}
    return tablet.get("/api/tablet/day", headers=headers)


def planned(tablet: TestClient) -> list[str]:
    answer = fetched(tablet)
    assert answer.status_code == 200, answer.text
    return [one["plan_id"] for one in answer.json()["plans"]]


# Two tablets


def test_the_same_trial_from_two_tablets_is_one_trial(practice: Practice) -> None:
    one, other, tree = practice.tablet("ferry"), practice.tablet("harbour"), drawn()
    first, second = practice.send(one, tree), practice.send(other, tree)
    assert (first.status_code, second.status_code) == (201, 200)
    assert first.json() == second.json()
    assert rows(practice, "SELECT id FROM trial") == [(tree["trial_id"],)]


def test_another_trial_under_the_same_id_is_refused_and_changes_nothing(
    practice: Practice,
) -> None:
    one, other = practice.tablet("ferry"), practice.tablet("harbour")
    first = practice.send(one, drawn(trial_id=FIRST)).json()
    kept = rows(practice, "SELECT sha256, raw, tablet_id FROM trial")
    assert_problem(practice.send(other, drawn(trial_id=FIRST, beside_mm=2.0)), 409)
    assert rows(practice, "SELECT sha256, raw, tablet_id FROM trial") == kept
    # The first tablet is still told what it waits for.
    assert practice.send(one, drawn(trial_id=FIRST)).json() == first


def test_an_id_that_another_child_s_trial_has_is_refused_without_a_word_of_it(
    practice: Practice,
) -> None:
    practice.send(practice.tablet("ferry"), drawn(trial_id=FIRST))
    answer = practice.send(practice.tablet("lantern"), drawn(trial_id=FIRST, plan_id=PLAN_WREN))
    assert_problem(answer, 409)
    assert "report" not in answer.text


def test_equal_numbers_from_two_tablets_are_kept_in_the_order_they_arrived(
    practice: Practice,
) -> None:
    one, other = practice.tablet("ferry"), practice.tablet("harbour")
    sent = []
    for tablet, seq in ((one, 2), (other, 1), (other, 2), (one, 1)):
        tree = drawn(seq=seq)
        assert practice.send(tablet, tree).status_code == 201
        sent.append(tree["trial_id"])
    # [C] by number, and among equal numbers by arrival
    assert [line["trial_id"] for line in trials_of(practice)] == [sent[at] for at in (1, 3, 0, 2)]


def test_trials_say_which_tablet_they_came_from(practice: Practice) -> None:
    one, other = pair(practice, "ferry"), pair(practice, "harbour")
    for paired in (one, other):
        # What the document says of itself does not matter: the token does.
        tree = drawn(device={"pointer_type": "pen", "tablet_id": "some-other-tablet"})
        assert practice.send(practice.holding(paired.token), tree).status_code == 201
    found = rows(practice, "SELECT tablet_id FROM trial ORDER BY arrival")
    assert found == [(one.tablet_id,), (other.tablet_id,)]


# Marks


def test_a_mark_for_an_unknown_trial_waits_for_its_trial(practice: Practice) -> None:
    tablet, tree = practice.tablet(), drawn()
    mark = {"id": str(uuid4()), "outcome": "spoilt", "why": "sneeze"}
    path = f"/api/trials/{tree['trial_id']}/marks"
    answer = tablet.post(path, json=mark)
    assert_problem(answer, 404)
    assert "sneeze" not in answer.text
    assert rows(practice, "SELECT count(*) FROM mark") == [(0,)]
    assert practice.send(tablet, tree).status_code == 201
    assert tablet.post(path, json=mark).status_code == 201
    assert trials_of(practice)[0]["outcome"] == "spoilt"


# Plans


def close_item(practice: Practice) -> None:
    """Close the only item of Gull's plan, as the desk does it."""
    ferry, path = practice.desk("ferry"), f"/api/sessions/{practice.ids['Gull session']}/plan"
    before = ferry.get(path).json()
    items = [item | {"state": "closed"} for item in before["items"]]
    answer = ferry.put(path, json={"based_on": before["version"], "items": items})
    assert answer.status_code == 200, answer.text
    assert answer.json()["version"] == before["version"] + 1


def test_a_trial_begun_under_an_older_plan_is_stored_and_scored(practice: Practice) -> None:
    tablet = practice.tablet()
    first = fetched(tablet)
    (plan_then,) = first.json()["plans"]
    close_item(practice)
    # The pack is fetched again while the child still draws the item that is closed by now.
    second = fetched(tablet, first.headers["etag"])
    (plan_now,) = second.json()["plans"]
    assert (plan_then["version"], plan_now["version"]) == (1, 2)
    assert [item["state"] for item in plan_now["items"]] == ["closed"]
    tree = drawn()
    tree["plan"] |= {"version": 1, "item_id": "a1"}
    answer = practice.send(tablet, tree)
    assert answer.status_code == 201
    # [C] a line drawn 1 mm beside its guide
    mean = answer.json()["report"]["measures"]["deviation_mean_abs"]
    assert mean["value"] == pytest.approx(1.0, abs=0.01)
    # So is one drawn before the tablet has fetched anything new at all, and one begun after.
    for version in (1, 2):
        late = drawn()
        late["plan"] |= {"version": version, "item_id": "a1"}
        assert practice.send(tablet, late).status_code == 201
    assert len(trials_of(practice)) == 3


def test_a_trial_of_a_closed_session_is_stored(practice: Practice) -> None:
    tablet = practice.tablet()
    first = fetched(tablet)
    session = f"/api/sessions/{practice.ids['Gull session']}"
    ferry = practice.desk("ferry")
    assert ferry.post(f"{session}/close").status_code == 200
    assert fetched(tablet, first.headers["etag"]).json()["plans"] == []
    assert practice.send(tablet, drawn()).status_code == 201
    assert ferry.post(f"{session}/reopen").status_code == 200
    # As it was before: the tablet has it already.
    again = fetched(tablet, first.headers["etag"])
    assert (again.status_code, again.content) == (304, b"")


def test_a_pack_keeps_its_tag_until_something_in_it_changes(practice: Practice) -> None:
    tablet = practice.tablet()
    tag = fetched(tablet).headers["etag"]
    practice.clock.move(hours=3)
    assert fetched(tablet).headers["etag"] == tag
    assert fetched(tablet, f'W/"other", {tag}').status_code == 304
    assert fetched(tablet, 'W/"other"').status_code == 200
    add_session(practice, TODAY + DAY)
    assert fetched(tablet, tag).status_code == 304
    add_session(practice, TODAY)
    assert fetched(tablet, tag).status_code == 200


def test_a_child_is_in_the_pack_on_the_days_of_its_link_only(practice: Practice) -> None:
    with practice.app.state.sessions() as db:
        account, child = (
            account_by_id(db, practice.ids["ferry"]),
            db.get(Child, practice.ids["Wren"]),
        )
        assert account is not None
        assert child is not None
        link(db, account, child, TODAY + DAY)
        db.commit()
    tomorrow = add_session(practice, TODAY + DAY, "Wren")
    assert planned(practice.tablet()) == [PLAN_GULL]
    practice.clock.move(days=1)
    assert planned(practice.tablet()) == [tomorrow]
    gull = add_session(practice, TODAY + DAY)
    assert sorted(planned(practice.tablet())) == sorted([tomorrow, gull])
    with closing(sqlite3.connect(practice.path)) as connection, connection:
        connection.execute(
            "UPDATE care_link SET to_day = '2026-03-04' WHERE child_id = ?",
            (practice.ids["Gull"],),
        )
    assert planned(practice.tablet()) == [tomorrow]


def test_a_day_of_fourteen_children_asks_the_database_no_more_than_a_day_of_one(
    practice: Practice,
) -> None:
    tablet = practice.tablet()
    fetched(tablet)
    asked: list[str] = []

    @event.listens_for(practice.app.state.engine, "before_cursor_execute")
    def count(_connection: Any, _cursor: Any, statement: str, *_: Any) -> None:
        if statement.startswith("SELECT"):
            asked.append(statement)

    fetched(tablet)
    of_one = len(asked)
    with practice.app.state.sessions() as db:
        account = account_by_id(db, practice.ids["ferry"])
        assert account is not None
        for number in range(13):
            child = create_child(db, code=f"BW-{number}", sign="rope kite")
            link(db, account, child, TODAY)
            session = create_session(db, child_id=child.id, day=TODAY)
            save_plan(db, session.id, plan())
        db.commit()
    asked.clear()
    assert len(planned(tablet)) == 14
    assert len(asked) == of_one
    assert 0 < of_one < 12


# Clocks


@pytest.mark.parametrize("days", [-2, 2])
def test_a_tablet_s_clock_that_is_two_days_off_moves_nothing(practice: Practice, days: int) -> None:
    tablet = practice.tablet()
    wrong = (NOON + days * DAY).isoformat()
    sent = []
    for seq, started_at in ((2, wrong), (1, NOON.isoformat())):
        tree = drawn(seq=seq, started_at=started_at)
        tree["device"] |= {"clock_offset_ms": -days * 86_400_000}
        assert practice.send(tablet, tree).status_code == 201
        sent.append(tree["trial_id"])
    # The order is that of the numbers, and the day that of the session.
    lines = trials_of(practice)
    assert [line["trial_id"] for line in lines] == list(reversed(sent))
    assert {line["day"] for line in lines} == {"2026-03-03"}
    assert {line["late"] for line in lines} == {False}


@pytest.mark.parametrize("days", [-2, 2])
def test_whether_a_trial_is_late_is_told_by_the_server_s_clock(
    practice: Practice, days: int
) -> None:
    tablet = practice.tablet()
    practice.clock.move(hours=12)
    tree = drawn(started_at=(NOON + days * DAY).isoformat())
    answer = practice.send(tablet, tree)
    assert answer.status_code == 201
    assert "late" in answer.json()["report"]["quality"]["flags"]
    (line,) = trials_of(practice)
    assert (line["late"], line["day"]) == (True, "2026-03-03")


def test_a_server_s_clock_set_back_leaves_the_order_as_it_was(practice: Practice) -> None:
    tablet, sent = practice.tablet(), []
    for _ in range(3):
        tree = drawn(seq=1)
        assert practice.send(tablet, tree).status_code == 201
        sent.append(tree["trial_id"])
        practice.clock.move(hours=-1)
    assert [line["trial_id"] for line in trials_of(practice)] == sent


# Pairing


def test_a_tablet_paired_twice_sends_with_both_tokens_and_reads_with_the_new_one(
    practice: Practice,
) -> None:
    first = pair(practice)
    second = pair(practice, old=first.token)
    assert second.tablet_id == first.tablet_id
    old, new = practice.holding(first.token), practice.holding(second.token)
    assert_problem(fetched(old), 401)
    assert planned(new) == [PLAN_GULL]
    early, late = drawn(seq=1), drawn(seq=2)
    assert practice.send(old, early).status_code == 201
    # The outbox tries once more with the other token: it is the same trial.
    assert practice.send(new, early).status_code == 200
    assert practice.send(new, late).status_code == 201
    assert len(trials_of(practice)) == 2


def test_of_two_tablets_with_one_code_one_is_paired(practice: Practice) -> None:
    code = practice.desk("ferry").post("/api/pairing-codes").json()["code"]
    answers = [practice.client.post("/api/pair", json={"code": code}) for _ in range(2)]
    assert answers[0].status_code == 200
    assert_problem(answers[1], 422)
    assert rows(practice, "SELECT count(*) FROM tablet") == [(1,)]


def test_a_revoked_tablet_s_queue_arrives_once_it_is_paired_again(practice: Practice) -> None:
    paired, tree = pair(practice), drawn()
    tablet = practice.holding(paired.token)
    mark = {"id": str(uuid4()), "outcome": "finished"}
    path = f"/api/trials/{tree['trial_id']}/marks"
    revoked = practice.desk("ferry").post(f"/api/tablets/{paired.tablet_id}/revoke")
    assert revoked.status_code == 200
    for answer in (practice.send(tablet, tree), tablet.post(path, json=mark), fetched(tablet)):
        # The answer on which a tablet keeps what waits, whoever it was for.
        problem = assert_problem(answer, 401)
        assert "pair it again" in problem["detail"]
    assert rows(practice, "SELECT count(*) FROM trial") == [(0,)]
    again = practice.holding(pair(practice, old=paired.token).token)
    assert practice.send(again, tree).status_code == 201
    assert again.post(path, json=mark).status_code == 201


def test_a_queue_of_thirty_days_arrives_whole(practice: Practice) -> None:
    tokens, trees = [], []
    for number in range(30):
        plan_id = PLAN_GULL if number == 0 else add_session(practice, TODAY + number * DAY)
        old = tokens[-1] if tokens else None
        tokens.append(pair(practice, old=old).token)
        trees.append(drawn(seq=1, plan_id=plan_id))
        if number < 29:
            practice.clock.move(days=1)
    # The network is back on the thirtieth day; each trial goes out with its own token.
    assert len(rows(practice, "SELECT id FROM tablet")) == 1
    for token, tree in zip(tokens, trees, strict=True):
        assert practice.send(practice.holding(token), tree).status_code == 201
    lines = trials_of(practice)
    assert [line["trial_id"] for line in lines] == [tree["trial_id"] for tree in trees]
    days = [(TODAY + number * DAY).isoformat() for number in range(30)]
    assert [line["day"] for line in lines] == days
    assert [line["late"] for line in lines] == [True] * 29 + [False]


def test_after_thirty_days_a_tablet_is_paired_again_and_nothing_is_lost(
    practice: Practice,
) -> None:
    token, tree = pair(practice).token, drawn()
    practice.clock.move(days=30)
    assert_problem(practice.send(practice.holding(token), tree), 401)
    again = practice.holding(pair(practice, old=token).token)
    assert practice.send(again, tree).status_code == 201
    (line,) = trials_of(practice)
    assert line["day"] == "2026-03-03"


# Midnight


@contextmanager
def practice_in(
    zone: str, template: tuple[Path, dict[str, str]], folder: Path
) -> Iterator[Practice]:
    """A practice in a time zone with summer time."""
    path = folder / "practice.sqlite3"
    shutil.copy(template[0], path)
    clock = Clock()
    app = create_app(replace(settings_for(path), time_zone=zone), clock)
    with TestClient(app, headers=ORIGIN, raise_server_exceptions=False) as client:
        yield Practice(app, client, clock, path, template[1])


def moment(month: int, day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2026, month, day, hour, minute, tzinfo=UTC)


# [C] In this zone 2026-03-29 begins at 23:00 UTC and ends at 22:00 UTC: it lasts 23 hours.
# 2026-10-25 begins at 22:00 UTC and ends at 23:00 UTC: it lasts 25 hours.
@pytest.mark.parametrize(
    ("before", "midnight", "noon", "end"),
    [
        (moment(3, 28, 22, 59), moment(3, 28, 23), moment(3, 29, 12), moment(3, 29, 22)),
        (moment(10, 24, 21, 59), moment(10, 24, 22), moment(10, 25, 12), moment(10, 25, 23)),
    ],
)
def test_the_day_pack_changes_at_the_practice_s_midnight(
    practice_template: tuple[Path, dict[str, str]],
    tmp_path: Path,
    before: datetime,
    midnight: datetime,
    noon: datetime,
    end: datetime,
) -> None:
    with practice_in("CET", practice_template, tmp_path) as practice:
        days = [before.date() + number * DAY for number in range(3)]
        plans = [add_session(practice, day) for day in days]
        practice.clock.now = before
        eve = pair(practice)
        assert eve.read_until == midnight
        tablet = practice.holding(eve.token)
        assert planned(tablet) == [plans[0]]
        practice.clock.now = midnight
        assert_problem(fetched(tablet), 401)
        day = pair(practice, old=eve.token)
        assert day.read_until == midnight + timedelta(hours=12)
        assert fetched(practice.holding(day.token)).json()["day"] == days[1].isoformat()
        assert planned(practice.holding(day.token)) == [plans[1]]
        # A trial of the evening before still goes to the evening's session, and is late.
        tree = drawn(plan_id=plans[0])
        assert practice.send(tablet, tree).status_code == 201
        practice.clock.now = noon
        evening = pair(practice, old=day.token)
        assert evening.read_until == end
        practice.clock.now = end - timedelta(minutes=1)
        assert planned(practice.holding(evening.token)) == [plans[1]]
        practice.clock.now = end
        assert_problem(fetched(practice.holding(evening.token)), 401)
        assert planned(practice.holding(pair(practice).token)) == [plans[2]]
        (line,) = trials_of(practice)
        assert (line["day"], line["late"]) == (days[0].isoformat(), True)


def test_what_is_left_of_an_earlier_day_is_late_with_a_new_token_too(practice: Practice) -> None:
    tree = drawn()
    practice.clock.move(days=1)
    assert practice.send(practice.tablet(), tree).status_code == 201
    report = practice.desk("ferry").get(f"/api/trials/{tree['trial_id']}/report").json()
    assert "late" in report["quality"]["flags"]
