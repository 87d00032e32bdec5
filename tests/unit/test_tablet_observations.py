"""Observations that a tablet sends: into the session of its plan, as late as its trials."""

import sqlite3
from contextlib import closing
from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from server import store_observations
from server.erasing import erase_rows
from server.ledger import Entry
from server.store_observations import KINDS
from tests.practice import NOON, PLAN_GULL, PLAN_WREN, TELLING, Practice, drawn
from tests.problem_form import assert_problem

ADDRESS = "/api/tablet/observations"
NOWHERE = "Quillfeather"
TEXTS = {"subjective": "", "objective": "", "assessment": "Steadier.", "plan": ""}


def rows(practice: Practice, query: str, *values: Any) -> list[Any]:
    with closing(sqlite3.connect(practice.path)) as connection:
        return connection.execute(query, values).fetchall()


def body_of(**body: Any) -> dict[str, Any]:
    return {"id": str(uuid4()), "plan_id": PLAN_GULL, "kind": "thumb_up"} | body


def add(client: TestClient, **body: Any) -> Any:
    return client.post(ADDRESS, json=body_of(**body))


def seen(practice: Practice, name: str = "Gull session") -> list[Any]:
    desk = practice.desk("ferry" if name.startswith("Gull") else "lantern")
    path = f"/api/sessions/{practice.ids[name]}/observations"
    found: list[Any] = desk.get(path).json()["observations"]
    return found


def sign(practice: Practice) -> None:
    ferry, note = practice.desk("ferry"), f"/api/sessions/{practice.ids['Gull session']}/note"
    assert ferry.put(note, json=TEXTS | {"based_on": 0}).status_code == 200
    assert ferry.post(f"{note}/sign", json={"based_on": 1}).status_code == 200


def move(practice: Practice, trial_id: str) -> str:
    """Correct the session of a trial to one of the day before; return that one."""
    ferry, gull = practice.desk("ferry"), practice.ids["Gull"]
    made = ferry.post(f"/api/children/{gull}/sessions", json={"day": "2026-03-02"})
    session_id: str = made.json()["session_id"]
    patch = {"session_id": session_id}
    sent = {"id": str(uuid4()), "patch": patch, "reason": "Drawn the day before."}
    assert ferry.post(f"/api/trials/{trial_id}/amendments", json=sent).status_code == 201
    return session_id


def test_a_rest_of_seconds_is_said_anew_at_the_desk_with_its_minutes_as_they_were(
    practice: Practice,
) -> None:
    sent, ferry = body_of(kind="rest", minutes=0.2016666), practice.desk("ferry")
    assert practice.tablet().post(ADDRESS, json=sent).status_code == 201
    (found,) = seen(practice)
    path = f"/api/observations/{sent['id']}"
    said = {"kind": "rest", "minutes": found["minutes"], "text": "the bell"}
    assert ferry.put(path, json=said).status_code == 200
    assert seen(practice) == [found | {"text": "the bell"}]
    assert found["minutes"] == sent["minutes"]
    # A number that somebody types is one that a person can mean.
    for typed in (0.2, 0.0, -1, 0.4999):
        refused = ferry.put(path, json=said | {"minutes": typed})
        assert_problem(refused, 422, "/minutes")
    assert seen(practice) == [found | {"text": "the bell"}]
    assert ferry.put(path, json=said | {"minutes": 0.5}).status_code == 200
    assert ferry.put(path, json=said).status_code == 422
    other = {"id": str(uuid4()), "kind": "rest", "minutes": 0.2016666}
    session = f"/api/sessions/{practice.ids['Gull session']}/observations"
    assert_problem(ferry.post(session, json=other), 422, "/minutes")


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_arrives_in_the_session_of_its_plan(practice: Practice, kind: str) -> None:
    rules, sent = KINDS[kind], body_of(kind=kind)
    if rules.needs_text:
        sent["text"] = "threading"
    if rules.has_minutes:
        sent["minutes"] = 4.5
    if rules.has_help:
        sent["help"] = {"setup": True, "cues": {"verbal": 2, "gesture": 0, "demonstration": 0}}
    answer = practice.tablet().post(ADDRESS, json=sent)
    assert answer.status_code == 201, answer.text
    assert answer.json() == {"id": sent["id"]}
    (found,) = seen(practice)
    kept = {name: found[name] for name in ("id", "kind", "text", "minutes", "help")}
    plain = {name: value for name, value in sent.items() if name != "plan_id"}
    assert kept == {"text": None, "minutes": None, "help": None} | plain
    # It counts as said by whoever has paired the tablet.
    assert (found["account_id"], found["trial_id"]) == (practice.ids["ferry"], None)
    noted = rows(practice, "SELECT account_id, child_id FROM audit WHERE kind = 'observation'")
    assert noted == [(practice.ids["ferry"], practice.ids["Gull"])]


@pytest.mark.parametrize(
    ("body", "path"),
    [
        ({"kind": NOWHERE}, "/kind"),
        ({"id": NOWHERE}, "/id"),
        ({"plan_id": "no plan"}, "/plan_id"),
        ({"plan_id": PLAN_WREN}, "/plan_id"),
        ({"plan_id": str(uuid4())}, "/plan_id"),
        ({"kind": "remark"}, "/text"),
        ({"kind": "thumb_up", "minutes": 3}, "/minutes"),
        ({"kind": "rest", "minutes": 1441}, "/minutes"),
        ({"kind": "rest", "help": {"setup": True}}, "/help"),
        ({"text": f"{NOWHERE}\x00"}, "/text"),
        ({"trial_id": NOWHERE}, "/trial_id"),
        # A tablet sends what is about a trial after the trial was confirmed.
        ({"trial_id": str(uuid4())}, "/trial_id"),
        ({NOWHERE: 1}, ""),
        ({"session_id": str(uuid4())}, ""),
    ],
)
def test_one_that_does_not_fit_is_refused(
    practice: Practice, body: dict[str, Any], path: str
) -> None:
    answer = add(practice.tablet(), **body)
    assert_problem(answer, 422, path)
    assert NOWHERE not in answer.text
    assert rows(practice, "SELECT count(*) FROM observation") == [(0,)]


def test_a_long_body_is_refused_before_it_is_read(practice: Practice) -> None:
    answer = practice.tablet().post(ADDRESS, content=b" " * 70_000)
    assert_problem(answer, 413)


def test_one_about_a_trial_follows_it(practice: Practice) -> None:
    tablet, tree = practice.tablet(), drawn()
    sent = body_of(kind="swapped_hands", trial_id=tree["trial_id"])
    assert_problem(tablet.post(ADDRESS, json=sent), 422, "/trial_id")
    assert practice.send(tablet, tree).status_code == 201
    # The same again, now that the trial is there.
    assert tablet.post(ADDRESS, json=sent).status_code == 201
    (found,) = seen(practice)
    assert found["trial_id"] == tree["trial_id"]


def test_one_is_not_filed_with_a_trial_of_another_child(practice: Practice) -> None:
    tree = drawn(plan_id=PLAN_WREN)
    assert practice.send(practice.tablet("lantern"), tree).status_code == 201
    answer = add(practice.tablet(), trial_id=tree["trial_id"])
    assert_problem(answer, 422, "/trial_id")
    assert seen(practice, "Wren session") == []


def test_one_about_a_trial_that_was_moved_goes_where_the_trial_is(practice: Practice) -> None:
    tablet, tree = practice.tablet(), drawn()
    assert practice.send(tablet, tree).status_code == 201
    before, after = (body_of(kind=kind, trial_id=tree["trial_id"]) for kind in ("distress", "rest"))
    assert tablet.post(ADDRESS, json=before).status_code == 201
    moved = move(practice, tree["trial_id"])
    assert tablet.post(ADDRESS, json=after).status_code == 201
    # An answer that was lost on the way is given again, wherever the trial is by now.
    assert [tablet.post(ADDRESS, json=one).status_code for one in (before, after)] == [200, 200]
    where = dict(rows(practice, "SELECT id, session_id FROM observation"))
    assert where == {before["id"]: practice.ids["Gull session"], after["id"]: moved}


def test_one_follows_a_trial_only_to_where_the_trial_may_be_marked(practice: Practice) -> None:
    tree = drawn()
    assert practice.send(practice.tablet(), tree).status_code == 201
    moved = move(practice, tree["trial_id"])
    path = f"/api/children/{practice.ids['Gull']}/links"
    whom = {"account_id": practice.ids["lantern"]}
    assert practice.desk("harbour").post(path, json=whom).status_code == 201
    # Linked from today only, and not with the tablet that the trial was drawn on.
    answer = add(practice.tablet("lantern"), kind="distress", trial_id=tree["trial_id"])
    assert_problem(answer, 422, "/trial_id")
    assert rows(practice, "SELECT count(*) FROM observation WHERE session_id = ?", moved) == [(0,)]


def test_the_same_again_changes_nothing_and_another_is_refused(practice: Practice) -> None:
    tablet, sent = practice.tablet(), body_of(kind="rest", minutes=6)
    assert [tablet.post(ADDRESS, json=sent).status_code for _ in range(3)] == [201, 200, 200]
    for other in ({"minutes": 7}, {"text": "the bell"}, {"kind": "distress", "minutes": None}):
        assert_problem(tablet.post(ADDRESS, json=sent | other), 409)
    lantern = practice.tablet("lantern")
    assert_problem(lantern.post(ADDRESS, json=sent | {"plan_id": PLAN_WREN}), 409)
    assert [one["minutes"] for one in seen(practice)] == [6]
    assert rows(practice, "SELECT count(*) FROM audit WHERE kind = 'observation'") == [(1,)]


def test_two_at_once_are_kept_once(practice: Practice, monkeypatch: pytest.MonkeyPatch) -> None:
    tablet, sent, look = practice.tablet(), body_of(), store_observations._same
    with monkeypatch.context() as patched:
        # The look finds nothing, and before the writing begins the other one has written.
        def too_early(db: Any, *_: Any) -> None:
            patched.setattr(store_observations, "_same", look)
            assert tablet.post(ADDRESS, json=sent).status_code == 201

        patched.setattr(store_observations, "_same", too_early)
        assert tablet.post(ADDRESS, json=sent).status_code == 200
    assert rows(practice, "SELECT count(*) FROM observation") == [(1,)]
    assert rows(practice, "SELECT count(*) FROM audit WHERE kind = 'observation'") == [(1,)]


def test_after_the_note_is_signed_an_adult_is_needed(practice: Practice) -> None:
    tablet, sent = practice.tablet(), body_of(kind="rest", minutes=6)
    assert tablet.post(ADDRESS, json=sent).status_code == 201
    sign(practice)
    assert "is signed" in assert_problem(add(tablet), 409)["detail"]
    # A tablet that never got its answer still gets it.
    assert tablet.post(ADDRESS, json=sent).status_code == 200
    assert len(seen(practice)) == 1


def test_it_may_come_as_late_as_a_trial(practice: Practice) -> None:
    tablet = practice.tablet()
    ended = f"/api/children/{practice.ids['Gull']}/links/{practice.ids['ferry']}/end"
    harbour = practice.desk("harbour")
    mine = {"account_id": practice.ids["harbour"]}
    harbour.post(f"/api/children/{practice.ids['Gull']}/links", json=mine)
    practice.clock.move(days=1)
    assert practice.desk("harbour").post(ended).status_code == 200
    practice.clock.move(days=2)
    # Of a session on a day on which its therapist was linked: as with a trial.
    assert practice.send(tablet, drawn()).status_code == 201
    assert add(tablet).status_code == 201
    practice.clock.move(days=27)
    assert_problem(add(tablet), 401)


def test_it_comes_from_a_tablet_only(practice: Practice) -> None:
    for client in (practice.client, practice.desk("ferry"), practice.holding("nobody's")):
        assert_problem(add(client), 401)
    assert rows(practice, "SELECT count(*) FROM observation") == [(0,)]


def test_what_is_about_an_erased_child_is_answered_410(practice: Practice) -> None:
    tablet, tree, sent = practice.tablet(), drawn(), body_of(kind="distress")
    assert practice.send(tablet, tree).status_code == 201
    assert tablet.post(ADDRESS, json=sent).status_code == 201
    with practice.app.state.sessions() as db:
        entry = Entry(str(uuid4()), practice.ids["Gull"], NOON, "asked")
        erase_rows(db, entry, NOON, "asked")
        db.commit()
    late = body_of(kind="distress", trial_id=tree["trial_id"])
    for one in (sent, late, body_of()):
        body = assert_problem(tablet.post(ADDRESS, json=one), 410)
        assert "erased" in body["detail"]
    assert rows(practice, "SELECT count(*) FROM observation") == [(0,)]


def test_a_child_erased_while_it_comes_in_is_answered_410(
    practice: Practice, monkeypatch: pytest.MonkeyPatch
) -> None:
    tablet, look = practice.tablet(), store_observations._same
    with monkeypatch.context() as patched:

        def erased_now(db: Any, *rest: Any) -> Any:
            patched.setattr(store_observations, "_same", look)
            with practice.app.state.sessions() as other:
                entry = Entry(str(uuid4()), practice.ids["Gull"], NOON, "asked")
                erase_rows(other, entry, NOON, "asked")
                other.commit()
            return look(db, *rest)

        patched.setattr(store_observations, "_same", erased_now)
        assert_problem(add(tablet), 410)
    assert rows(practice, "SELECT count(*) FROM observation") == [(0,)]


def test_an_answer_tells_nothing_about_the_child(practice: Practice) -> None:
    answer = add(practice.tablet(), kind="remark", text="Sat on the higher stool.")
    assert answer.status_code == 201
    assert not any(word in answer.text for word in (*TELLING, practice.ids["Gull"]))
