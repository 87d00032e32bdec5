"""Sessions: made, listed, changed, closed, and their trials while they are drawn."""

import sqlite3
from contextlib import closing
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import event

from tests.practice import TODAY, Practice, drawn
from tests.problem_form import assert_problem

NOWHERE = "Quillfeather"


def rows(practice: Practice, query: str, *values: Any) -> list[Any]:
    with closing(sqlite3.connect(practice.path)) as connection:
        return connection.execute(query, values).fetchall()


def make(practice: Practice, client: TestClient, **body: Any) -> Any:
    path = f"/api/children/{practice.ids['Gull']}/sessions"
    return client.post(path, json={"day": "2026-03-10"} | body)


def gull(practice: Practice) -> str:
    return f"/api/sessions/{practice.ids['Gull session']}"


# Making and changing


def test_a_session_is_made_with_what_is_known_of_it(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    answer = make(
        practice,
        ferry,
        kind="group",
        place="Ropewalk Clinic",
        position="seated",
        started_at="2026-03-10T09:10:00+01:00",
    )
    assert answer.status_code == 201, answer.text
    made = answer.json()
    assert made == ferry.get(f"/api/sessions/{made['session_id']}").json() | {
        # The database keeps moments in UTC: [C] 09:10 at +01:00 is 08:10.
        "started_at": "2026-03-10T09:10:00+01:00"
    }
    assert {name: made[name] for name in ("day", "kind", "place", "position")} == {
        "day": "2026-03-10",
        "kind": "group",
        "place": "Ropewalk Clinic",
        "position": "seated",
    }
    for name in ("ended_at", "closed_at", "minutes", "attendance", "note_state"):
        assert made[name] is None, name
    assert (made["plan_version"], made["trials"]) == (0, 0)
    noted = rows(practice, "SELECT child_id FROM audit WHERE verb = 'made' AND kind = 'session'")
    assert noted == [(practice.ids["Gull"],)]
    by = rows(practice, "SELECT account_id FROM session WHERE id = ?", made["session_id"])
    assert by == [(practice.ids["ferry"],)]


def test_start_and_end_give_the_minutes(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    change = {
        "started_at": "2026-03-03T09:10:00+00:00",
        "ended_at": "2026-03-03T10:38:30+01:00",
        "attendance": "late",
    }
    changed = ferry.patch(gull(practice), json=change)
    assert changed.status_code == 200
    # [C] 09:10 to 09:38:30 in UTC.
    assert changed.json()["minutes"] == 28.5
    assert changed.json()["attendance"] == "late"
    assert changed.json()["place"] == "Tidewell School"
    emptied = ferry.patch(gull(practice), json={"ended_at": None, "place": None}).json()
    assert (emptied["ended_at"], emptied["minutes"], emptied["place"]) == (None, None, None)


@pytest.mark.parametrize(
    ("change", "path"),
    [
        ({"started_at": "2026-03-03T09:10:00Z", "ended_at": "2026-03-03T09:09:59Z"}, "/ended_at"),
        ({"started_at": "2026-03-03T09:10:00Z", "ended_at": "2026-03-04T09:10:01Z"}, "/ended_at"),
        ({"ended_at": "2026-03-03T09:10:00Z"}, "/started_at"),
        ({"started_at": "2026-03-03T09:10:00Z", "ended_at": "2026-03-03T12:00:01Z"}, "/ended_at"),
        ({"started_at": "2026-03-03T09:10:00"}, "/started_at"),
        ({"started_at": 1772529247}, "/started_at"),
        ({"attendance": NOWHERE}, "/attendance"),
        ({"kind": NOWHERE}, "/kind"),
        ({"place": f"{NOWHERE}\n"}, "/place"),
        ({"place": ""}, "/place"),
        ({"place": "p" * 201}, "/place"),
        ({"day": "2026-03-04"}, ""),
        ({NOWHERE: 1}, ""),
        ([], ""),
    ],
)
def test_a_bad_change_is_refused_and_nothing_of_it_is_stored(
    practice: Practice, change: Any, path: str
) -> None:
    ferry = practice.desk("ferry")
    before = ferry.get(gull(practice)).json()
    body = change | {"position": "prone"} if isinstance(change, dict) else change
    answer = ferry.patch(gull(practice), json=body)
    assert_problem(answer, 422, path)
    assert NOWHERE not in answer.text
    assert ferry.get(gull(practice)).json() == before


@pytest.mark.parametrize(
    ("body", "path"),
    [
        ({"day": "2026-02-30"}, "/day"),
        ({"day": 20260303}, "/day"),
        ({"day": None}, "/day"),
        ({"kind": NOWHERE}, "/kind"),
        ({"started_at": NOWHERE}, "/started_at"),
        ({"attendance": "attended"}, ""),
    ],
)
def test_a_bad_session_is_not_made(practice: Practice, body: Any, path: str) -> None:
    answer = make(practice, practice.desk("ferry"), **body)
    assert_problem(answer, 422, path)
    assert NOWHERE not in answer.text
    assert rows(practice, "SELECT count(*) FROM session") == [(2,)]


def test_the_day_of_a_session_is_fixed_in_the_database_too(practice: Practice) -> None:
    with closing(sqlite3.connect(practice.path)) as connection:
        for column, value in (("day", "2026-03-04"), ("child_id", practice.ids["Wren"])):
            with pytest.raises(sqlite3.IntegrityError, match="never change"):
                connection.execute(f"UPDATE session SET {column} = ?", (value,))


# Listing


def listed(client: TestClient, **query: str) -> list[str]:
    answer = client.get("/api/sessions", params=query)
    assert answer.status_code == 200, answer.text
    return [one["session_id"] for one in answer.json()["sessions"]]


def test_the_day_s_sessions_are_those_of_linked_children(practice: Practice) -> None:
    mine, other = practice.ids["Gull session"], practice.ids["Wren session"]
    assert listed(practice.desk("ferry")) == [mine]
    assert listed(practice.desk("harbour")) == [mine]
    assert listed(practice.desk("lantern")) == [other]
    (line,) = practice.desk("ferry").get("/api/sessions").json()["sessions"]
    assert line["sign"] == ["boat", "kite"]
    assert (line["plan_version"], line["trials"], line["note_state"]) == (1, 0, None)
    assert "nickname" not in line
    assert "code" not in line


def test_sessions_are_listed_by_day_or_from_one_day_to_another(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    later = make(practice, ferry).json()["session_id"]
    today = practice.ids["Gull session"]
    assert listed(ferry, day="2026-03-10") == [later]
    assert listed(ferry, **{"from": "2026-03-03", "to": "2026-03-10"}) == [today, later]
    assert listed(ferry, **{"from": "2026-03-04", "to": "2026-03-09"}) == []
    # [C] Both ends count: 62 days end 61 days later.
    last = (TODAY + timedelta(days=61)).isoformat()
    assert listed(ferry, **{"from": "2026-03-03", "to": last}) == [today, later]


@pytest.mark.parametrize(
    ("query", "path"),
    [
        ("day=2026-03-03&from=2026-03-03&to=2026-03-04", "/day"),
        ("from=2026-03-03", "/to"),
        ("to=2026-03-03", "/from"),
        ("from=2026-03-04&to=2026-03-03", "/to"),
        ("from=2026-03-03&to=2026-05-04", "/to"),
        (f"day={NOWHERE}", "/day"),
        ("day=2026-3-3", "/day"),
    ],
)
def test_a_bad_span_of_days_is_refused(practice: Practice, query: str, path: str) -> None:
    answer = practice.desk("ferry").get(f"/api/sessions?{query}")
    assert_problem(answer, 422, path)
    assert NOWHERE not in answer.text


def test_a_list_is_noted_once_for_each_child_in_it(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    query = "SELECT account_id, child_id FROM audit WHERE verb = 'listed' AND kind = 'sessions'"
    for _ in range(3):
        listed(ferry)
    once = (practice.ids["ferry"], practice.ids["Gull"])
    assert rows(practice, query) == [once]
    practice.clock.move(minutes=10)
    listed(ferry)
    assert rows(practice, query) == [once, once]


# Closing


def test_a_closed_session_leaves_the_day_pack_and_comes_back_when_reopened(
    practice: Practice,
) -> None:
    ferry, tablet = practice.desk("ferry"), practice.tablet()

    def planned() -> int:
        return len(tablet.get("/api/tablet/day").json()["plans"])

    assert planned() == 1
    closed = ferry.post(f"{gull(practice)}/close")
    assert closed.status_code == 200
    first = closed.json()["closed_at"]
    assert first == "2026-03-03T12:00:00+00:00"
    assert planned() == 0
    practice.clock.move(minutes=5)
    assert ferry.post(f"{gull(practice)}/close").json()["closed_at"] == first
    assert ferry.post(f"{gull(practice)}/reopen").json()["closed_at"] is None
    assert ferry.post(f"{gull(practice)}/reopen").json()["closed_at"] is None
    assert planned() == 1
    verbs = rows(practice, "SELECT verb FROM audit WHERE verb IN ('closed', 'reopened')")
    assert verbs == [("closed",), ("reopened",)]


# Who may


@pytest.mark.parametrize(
    ("name", "status"),
    [("harbour", 200), ("ferry", 200), ("lantern", 404), ("beacon", 403), ("purser", 403)],
)
def test_only_linked_therapists_reach_a_session(practice: Practice, name: str, status: int) -> None:
    client = practice.desk(name)
    path = gull(practice)
    answers = [
        client.get(path),
        client.get(f"{path}/trials"),
        client.patch(path, json={"position": "seated"}),
        client.post(f"{path}/close"),
        client.post(f"{path}/reopen"),
    ]
    assert [one.status_code for one in answers] == [status] * 5
    made = make(practice, client)
    assert made.status_code == (201 if status == 200 else status)


def test_signed_out_and_tablets_reach_no_session(practice: Practice) -> None:
    for client in (practice.client, practice.tablet()):
        for path in ("/api/sessions", gull(practice), f"{gull(practice)}/trials"):
            assert_problem(client.get(path), 401)
        assert_problem(client.patch(gull(practice), json={"position": "seated"}), 401)
        assert_problem(make(practice, client), 401)


def test_a_session_that_is_not_there_is_not_found(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    for path in (str(uuid4()), "nothing"):
        assert_problem(ferry.get(f"/api/sessions/{path}"), 404)


# Trials while they are drawn


def test_the_trials_of_a_session_say_what_was_drawn_and_marked(practice: Practice) -> None:
    ferry, tablet, tree = practice.desk("ferry"), practice.tablet(), drawn()
    practice.send(tablet, tree)
    (line,) = ferry.get(f"{gull(practice)}/trials").json()["trials"]
    assert (line["marked"], line["outcome"], line["voided"], line["amendments"]) == (
        False,
        None,
        False,
        0,
    )
    given = {"cues": {"verbal": 2, "gesture": 0, "demonstration": 0}, "physical": "none"}
    mark = {
        "id": str(uuid4()),
        "outcome": "spoilt",
        "why": "a wave shook the table",
        "hand_used": "right",
        "help": given,
    }
    assert tablet.post(f"/api/trials/{tree['trial_id']}/marks", json=mark).status_code == 201
    (line,) = ferry.get(f"{gull(practice)}/trials").json()["trials"]
    assert {name: line[name] for name in ("outcome", "why", "hand_used", "help")} == {
        name: mark[name] for name in ("outcome", "why", "hand_used", "help")
    }
    of_child = ferry.get(f"/api/children/{practice.ids['Gull']}/trials").json()["trials"][0]
    shared = of_child.keys() & line.keys()
    assert {"trial_id", "seq", "scores", "criterion", "half_width_mm", "task_name"} <= shared
    assert {name: line[name] for name in shared} == {name: of_child[name] for name in shared}


def poll(client: TestClient, path: str, tag: str) -> Any:
    return client.get(path, headers={"If-None-Match": tag})


def test_a_poll_is_answered_304_until_something_is_new(practice: Practice) -> None:
    ferry, tablet, tree = practice.desk("ferry"), practice.tablet(), drawn()
    path = f"{gull(practice)}/trials"
    trial = f"/api/trials/{tree['trial_id']}"
    tags = [ferry.get(path).headers["etag"]]
    changes = [
        lambda: practice.send(tablet, tree),
        lambda: tablet.post(f"{trial}/marks", json={"id": str(uuid4()), "outcome": "stopped"}),
        lambda: practice.send(tablet, drawn()),
        lambda: change_rows(
            practice,
            "INSERT INTO void (id, trial_id, voided, reason, account_id, at)"
            " SELECT ?, id, 1, 'bell', ?, '2026-03-03 12:00:00' FROM trial"
            " ORDER BY arrival LIMIT 1",
            (str(uuid4()), practice.ids["ferry"]),
        ),
        lambda: change_rows(
            practice,
            "INSERT INTO amendment (id, trial_id, amendment_no, patch, reason, account_id, at)"
            " SELECT ?, id, 1, '{\"hand_used\": \"left\"}', 'bell', ?, '2026-03-03 12:00:00'"
            " FROM trial ORDER BY arrival LIMIT 1",
            (str(uuid4()), practice.ids["ferry"]),
        ),
    ]
    for change in changes:
        assert poll(ferry, path, tags[-1]).status_code == 304
        change()
        # What had to be computed for the answer is kept, and is new once more.
        poll(ferry, path, tags[-1])
        fresh = poll(ferry, path, tags[-1])
        assert fresh.status_code == 200
        tags.append(fresh.headers["etag"])
    held = poll(ferry, path, ", ".join(['W/"other"', tags[-1]]))
    assert (held.status_code, held.content) == (304, b"")
    assert len(set(tags)) == len(changes) + 1
    lines = ferry.get(path).json()["trials"]
    assert [(one["voided"], one["amendments"]) for one in lines] == [(True, 1), (False, 0)]


def change_rows(practice: Practice, statement: str, values: tuple[Any, ...]) -> None:
    with closing(sqlite3.connect(practice.path)) as connection, connection:
        assert connection.execute(statement, values).rowcount == 1


def test_moving_one_trial_away_and_another_in_is_seen(practice: Practice) -> None:
    ferry, tablet = practice.desk("ferry"), practice.tablet()
    first, second = drawn(), drawn()
    other = make(practice, ferry).json()["session_id"]
    for tree in (first, second):
        practice.send(tablet, tree)
    mine = practice.ids["Gull session"]
    move = "UPDATE trial SET session_id = ? WHERE id = ?"
    change_rows(practice, move, (other, first["trial_id"]))
    tag = ferry.get(f"{gull(practice)}/trials").headers["etag"]
    change_rows(practice, move, (mine, first["trial_id"]))
    change_rows(practice, move, (other, second["trial_id"]))
    fresh = poll(ferry, f"{gull(practice)}/trials", tag)
    assert fresh.status_code == 200
    assert [one["trial_id"] for one in fresh.json()["trials"]] == [first["trial_id"]]


def test_a_poll_that_finds_nothing_new_reads_no_report(practice: Practice) -> None:
    ferry, tablet = practice.desk("ferry"), practice.tablet()
    for _ in range(3):
        practice.send(tablet, drawn())
    path = f"{gull(practice)}/trials"
    tag = ferry.get(path).headers["etag"]
    statements: list[str] = []

    def note(_connection: Any, _cursor: Any, statement: str, *_: Any) -> None:
        statements.append(statement)

    event.listen(practice.app.state.engine, "before_cursor_execute", note)
    try:
        assert poll(ferry, path, tag).status_code == 304
    finally:
        event.remove(practice.app.state.engine, "before_cursor_execute", note)
    (state,) = (one for one in statements if "UNION ALL" in one)
    places = state.count("?")
    steps = rows(practice, f"EXPLAIN QUERY PLAN {state}", *[""] * places)
    # Whatever else is stored: every table is entered by an index.
    assert [one for *_, one in steps if one.startswith("SCAN")] == []
    assert sum("USING" in one for *_, one in steps) >= 9
    assert not any("result.report" in one or "trial.raw" in one for one in statements)
    assert not any(one.startswith(("INSERT", "UPDATE")) for one in statements)
