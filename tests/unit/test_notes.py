"""Notes: every step from draft to co-signature, and every step that is refused."""

import sqlite3
import threading
from contextlib import closing
from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from server.sentences import NO_NORM
from server.store_accounts import create_account
from server.store_children import link
from server.tables import Account, Child
from tests.ended import end_session
from tests.practice import PASSPHRASE, TODAY, Practice, drawn
from tests.problem_form import assert_problem

NOWHERE = "Quillfeather"
TEXTS = {
    "subjective": "Class aide: asked for scissors twice.",
    "objective": "High Bridge, 6 mm each side.",
    "assessment": "Steadier than last week.",
    "plan": "The same again.",
}
STATES = ("none", "draft", "signed", "returned", "cosigned")


def rows(practice: Practice, query: str, *values: Any) -> list[Any]:
    with closing(sqlite3.connect(practice.path)) as connection:
        return connection.execute(query, values).fetchall()


def path_of(practice: Practice, name: str = "Gull session") -> str:
    return f"/api/sessions/{practice.ids[name]}/note"


def put(client: TestClient, path: str, revision: int, **change: Any) -> Any:
    return client.put(path, json=TEXTS | {"based_on": revision} | change)


def bring(practice: Practice, state: str, author: str = "ferry") -> int:
    """Bring the note of Gull's session into a state; returns its revision."""
    client, harbour, path = practice.desk(author), practice.desk("harbour"), path_of(practice)
    if state == "none":
        return 0
    assert put(client, path, 0).status_code == 200
    if state == "draft":
        return 1
    end_session(client, practice.ids["Gull session"])
    assert client.post(f"{path}/sign", json={"based_on": 1}).status_code == 200
    if state == "returned":
        assert harbour.post(f"{path}/return", json={"reason": "Say more."}).status_code == 200
    if state == "cosigned":
        assert harbour.post(f"{path}/cosign", json={}).status_code == 200
    return 1


def linked_as(practice: Practice, name: str, roles: set[str], above: str | None = None) -> None:
    """Let somebody else come in who is linked to Gull too."""
    with practice.app.state.sessions() as db:
        account = create_account(
            db,
            name=name,
            passphrase=PASSPHRASE,
            roles=roles,
            supervisor_id=None if above is None else practice.ids[above],
        )
        link(db, account, db.get_one(Child, practice.ids["Gull"]), TODAY)
        practice.ids[name] = account.id
        db.commit()


def state_of(practice: Practice) -> Any:
    found = rows(practice, "SELECT state, revision, subjective, assessment FROM note")
    events = rows(practice, "SELECT kind, text, account_id FROM note_event ORDER BY number")
    return found, events


# Writing


def test_a_session_starts_with_an_empty_draft(practice: Practice) -> None:
    note = practice.desk("ferry").get(path_of(practice)).json()
    assert (note["state"], note["revision"], note["author"]) == ("draft", 0, None)
    assert [note[name] for name in TEXTS] == [""] * 4
    assert note["events"] == []
    assert note["numbers"]["format"] == "linnet-numbers/1"
    assert note["changed_since_signing"] is None
    assert note["cautions"] == ["You are responsible for every sentence.", NO_NORM]
    assert rows(practice, "SELECT count(*) FROM note") == [(0,)]


def test_a_note_is_written_and_written_anew(practice: Practice) -> None:
    ferry, path = practice.desk("ferry"), path_of(practice)
    first = put(ferry, path, 0).json()
    assert (first["state"], first["revision"]) == ("draft", 1)
    assert {name: first[name] for name in TEXTS} == TEXTS
    assert first["author"] == {"account_id": practice.ids["ferry"], "name": "ferry"}
    practice.clock.move(minutes=2)
    second = put(ferry, path, 1, plan="Two\nlines.").json()
    assert (second["revision"], second["plan"]) == (2, "Two\nlines.")
    assert second["changed_at"] == "2026-03-03T12:02:00+00:00"
    assert [one["kind"] for one in second["events"]] == ["drafted"]
    noted = rows(practice, "SELECT verb, child_id FROM audit WHERE kind = 'note' AND verb <> 'saw'")
    assert noted == [("wrote", practice.ids["Gull"])] * 2


@pytest.mark.parametrize("based_on", [0, 2])
def test_a_note_builds_on_what_was_read(practice: Practice, based_on: int) -> None:
    bring(practice, "draft")
    before = state_of(practice)
    answer = put(practice.desk("ferry"), path_of(practice), based_on, subjective="Other.")
    assert "in the meantime" in assert_problem(answer, 409)["detail"]
    assert state_of(practice) == before


@pytest.mark.parametrize(("revision", "authors"), [(0, ("ferry", "lamp")), (1, ("ferry", "ferry"))])
def test_of_two_writers_at_once_one_is_kept(
    practice: Practice, revision: int, authors: tuple[str, str]
) -> None:
    linked_as(practice, "lamp", {"assistant"})
    bring(practice, "none" if revision == 0 else "draft")
    clients = [practice.desk(name) for name in authors]
    start, answers = threading.Barrier(len(clients)), []

    def write(at: int, client: TestClient) -> None:
        start.wait()
        answer = put(client, path_of(practice), revision, subjective=f"Writer {at}.")
        answers.append((answer.status_code, at))

    threads = [threading.Thread(target=write, args=pair) for pair in enumerate(clients)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    answers.sort()
    assert answers[0][0] == 200
    # Who comes second is told so; an author's note is closed to another one besides.
    assert answers[1][0] in ({409} if revision else {403, 409})
    ((_, kept, text, _),) = rows(
        practice, "SELECT state, revision, subjective, assessment FROM note"
    )
    assert (kept, text) == (revision + 1, f"Writer {answers[0][1]}.")


@pytest.mark.parametrize(
    ("change", "path"),
    [
        ({"subjective": None}, "/subjective"),
        ({"objective": 1}, "/objective"),
        ({"assessment": "a" * 8001}, "/assessment"),
        ({"plan": f"{NOWHERE}\x07"}, "/plan"),
        ({"based_on": -1}, "/based_on"),
        ({"based_on": "x"}, "/based_on"),
        ({"state": "signed"}, ""),
        ({NOWHERE: 1}, ""),
    ],
)
def test_a_bad_note_is_refused(practice: Practice, change: dict[str, Any], path: str) -> None:
    ferry = practice.desk("ferry")
    answer = put(ferry, path_of(practice), 0, **change)
    assert_problem(answer, 422, path)
    assert NOWHERE not in answer.text
    assert rows(practice, "SELECT count(*) FROM note") == [(0,)]


def test_only_the_author_and_the_supervisor_write_in_a_note(practice: Practice) -> None:
    linked_as(practice, "lamp", {"assistant"})
    linked_as(practice, "pier", {"supervisor"})
    bring(practice, "draft")
    for name in ("lamp", "pier"):
        answer = put(practice.desk(name), path_of(practice), 1, subjective="Other.")
        assert "Only the author" in assert_problem(answer, 403)["detail"]
    changed = put(practice.desk("harbour"), path_of(practice), 1, subjective="Other.").json()
    assert (changed["revision"], changed["subjective"]) == (2, "Other.")
    assert changed["author"]["name"] == "ferry"


# Signing


def test_signing_waits_for_an_assessment(practice: Practice) -> None:
    ferry, path = practice.desk("ferry"), path_of(practice)
    put(ferry, path, 0, assessment=" \n ")
    before = state_of(practice)
    answer = ferry.post(f"{path}/sign", json={"based_on": 1})
    assert_problem(answer, 422, "/assessment")
    assert state_of(practice) == before
    assert rows(practice, "SELECT count(*) FROM audit WHERE verb = 'signed'") == [(0,)]


@pytest.mark.parametrize(
    ("facts", "missing"),
    [
        ({"attendance": "attended"}, ["/started_at", "/ended_at"]),
        ({"started_at": "2026-03-03T09:10:00Z"}, ["/ended_at"]),
        ({"started_at": "2026-03-03T09:10:00Z", "attendance": "absent"}, []),
        ({}, []),
    ],
)
def test_a_session_that_took_place_is_signed_only_with_its_times(
    practice: Practice, facts: dict[str, Any], missing: list[str]
) -> None:
    ferry, path = practice.desk("ferry"), path_of(practice)
    session = path.removesuffix("/note")
    if facts:
        assert ferry.patch(session, json=facts).status_code == 200
    put(ferry, path, 0)
    before = state_of(practice)
    answer = ferry.post(f"{path}/sign", json={"based_on": 1})
    if missing:
        assert [one["path"] for one in assert_problem(answer, 422)["errors"]] == missing
        assert state_of(practice) == before
        end_session(ferry, practice.ids["Gull session"])
        answer = ferry.post(f"{path}/sign", json={"based_on": 1})
    assert answer.status_code == 200, answer.text


def test_a_trial_alone_tells_that_a_session_took_place(practice: Practice) -> None:
    ferry, path = practice.desk("ferry"), path_of(practice)
    assert practice.send(practice.tablet(), drawn()).status_code == 201
    put(ferry, path, 0)
    answer = ferry.post(f"{path}/sign", json={"based_on": 1})
    assert_problem(answer, 422, "/started_at")


def test_signing_keeps_texts_and_numbers_with_the_step(practice: Practice) -> None:
    bring(practice, "draft")
    ferry, path = practice.desk("ferry"), path_of(practice)
    practice.clock.move(minutes=1)
    note = ferry.post(f"{path}/sign", json={"based_on": 1}).json()
    assert note["state"] == "signed"
    assert note["signed_at"] == "2026-03-03T12:01:00+00:00"
    assert note["signed_by"]["name"] == "ferry"
    assert note["changed_since_signing"] == []
    assert note["cautions"] == [NO_NORM]
    assert [one["kind"] for one in note["events"]] == ["drafted", "signed"]
    with practice.app.state.sessions() as db:
        from server.store_notes import events_of, note_of

        content = events_of(db, practice.ids["Gull session"])[-1].content
        kept = note_of(db, practice.ids["Gull session"])
        assert kept is not None
        assert content == TEXTS | {"numbers": kept.frozen}
        assert note["numbers"] == kept.frozen


def test_only_what_was_read_is_signed(practice: Practice) -> None:
    ferry, path = practice.desk("ferry"), path_of(practice)
    bring(practice, "draft")
    put(practice.desk("harbour"), path, 1, assessment="Other.")
    for based_on in (0, 1, 3):
        assert_problem(ferry.post(f"{path}/sign", json={"based_on": based_on}), 409)
    assert ferry.post(f"{path}/sign", json={"based_on": 2}).status_code == 200


def test_of_two_signatures_at_once_one_is_kept(practice: Practice) -> None:
    bring(practice, "draft")
    clients = [practice.desk("ferry") for _ in range(2)]
    start, answers = threading.Barrier(len(clients)), []

    def write(client: TestClient) -> None:
        start.wait()
        answer = client.post(f"{path_of(practice)}/sign", json={"based_on": 1})
        answers.append(answer.status_code)

    threads = [threading.Thread(target=write, args=[client]) for client in clients]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answers) == [200, 409]
    assert rows(practice, "SELECT count(*) FROM note_event WHERE kind = 'signed'") == [(1,)]


def test_a_returned_note_is_a_draft_again_once_it_is_changed(practice: Practice) -> None:
    bring(practice, "returned")
    ferry, harbour, path = practice.desk("ferry"), practice.desk("harbour"), path_of(practice)
    returned = ferry.get(path).json()
    assert returned["events"][-1]["text"] == "Say more."
    assert returned["events"][-1]["by"]["name"] == "harbour"
    assert returned["changed_since_signing"] is None
    draft = put(ferry, path, 1, assessment="More.").json()
    assert (draft["state"], draft["revision"], draft["signed_at"]) == ("draft", 2, None)
    assert ferry.post(f"{path}/sign", json={"based_on": 2}).json()["state"] == "signed"
    practice.clock.move(minutes=1)
    done = harbour.post(f"{path}/cosign", json={}).json()
    assert done["state"] == "cosigned"
    assert done["cosigned_at"] == "2026-03-03T12:01:00+00:00"
    assert done["cosigned_by"]["name"] == "harbour"
    steps = ["drafted", "signed", "returned", "drafted", "signed", "cosigned"]
    assert [one["kind"] for one in done["events"]] == steps
    gull = practice.ids["Gull"]
    verbs = ["wrote", "signed", "returned", "wrote", "signed", "cosigned"]
    noted = rows(practice, "SELECT verb, child_id FROM audit WHERE kind = 'note' AND verb <> 'saw'")
    assert noted == [(verb, gull) for verb in verbs]


# Every step in every state, by everybody


ALLOWED = {
    # What may be done in which state, by the author and by the author's supervisor.
    ("none", "put"): {"ferry", "harbour", "lamp"},
    ("draft", "put"): {"ferry", "harbour"},
    ("returned", "put"): {"ferry", "harbour"},
    ("draft", "sign"): {"ferry"},
    ("signed", "return"): {"harbour"},
    ("signed", "cosign"): {"harbour"},
    ("signed", "addenda"): {"ferry", "harbour"},
    ("cosigned", "addenda"): {"ferry", "harbour"},
}
STEPS = ("put", "sign", "return", "cosign", "addenda")
PEOPLE = ("ferry", "harbour", "lamp", "lantern", "beacon", "purser", "nobody", "tablet")


def step(client: TestClient, path: str, name: str, revision: int) -> Any:
    if name == "put":
        return put(client, path, revision)
    body = {
        "sign": {"based_on": revision},
        "return": {"reason": "Say more."},
        "cosign": {},
        "addenda": {"id": str(uuid4()), "text": "One more thing."},
    }[name]
    return client.post(f"{path}/{name}", json=body)


def refused_with(person: str, name: str, state: str) -> int:
    """What everybody who may not do a step is told."""
    if person in ("nobody", "tablet"):
        return 401
    if person in ("beacon", "purser"):
        return 403
    supervisors_only = name in ("return", "cosign")
    if supervisors_only and person != "harbour":
        return 403
    if person == "lantern":
        return 404
    if state == "none":
        return 404
    writers = {"put": {"ferry", "harbour"}, "addenda": {"ferry", "harbour"}, "sign": {"ferry"}}
    return 403 if person not in writers.get(name, {"harbour"}) else 409


@pytest.mark.parametrize("state", STATES)
def test_each_step_is_done_by_those_who_may_and_by_nobody_else(
    practice: Practice, state: str
) -> None:
    linked_as(practice, "lamp", {"assistant"}, above="harbour")
    revision = bring(practice, state)
    clients = {
        "nobody": practice.client,
        "tablet": practice.tablet(),
        **{name: practice.desk(name) for name in PEOPLE[:-2]},
    }
    before = state_of(practice)
    for name in STEPS:
        may = ALLOWED.get((state, name), set())
        for person in PEOPLE:
            if person in may:
                continue
            answer = step(clients[person], path_of(practice), name, revision)
            assert_problem(answer, refused_with(person, name, state))
    # Nothing of all this was stored.
    assert state_of(practice) == before


@pytest.mark.parametrize(
    ("state", "name", "person"),
    [(state, name, person) for (state, name), may in ALLOWED.items() for person in sorted(may)],
)
def test_each_allowed_step_is_done(practice: Practice, state: str, name: str, person: str) -> None:
    linked_as(practice, "lamp", {"assistant"})
    revision = bring(practice, state)
    answer = step(practice.desk(person), path_of(practice), name, revision)
    assert answer.status_code == (201 if name == "addenda" else 200), answer.text
    after = {
        "put": "draft",
        "sign": "signed",
        "return": "returned",
        "cosign": "cosigned",
        "addenda": state,
    }[name]
    assert practice.desk("harbour").get(path_of(practice)).json()["state"] == after


def test_a_supervisor_s_own_note_ends_when_it_is_signed(practice: Practice) -> None:
    linked_as(practice, "pier", {"supervisor"}, above="harbour")
    bring(practice, "signed", author="pier")
    for name in ("harbour", "pier"):
        client = practice.desk(name)
        for end, body in (("cosign", {}), ("return", {"reason": "Say more."})):
            answer = client.post(f"{path_of(practice)}/{end}", json=body)
            assert_problem(answer, 409 if name == "harbour" else 403)
    assert practice.desk("harbour").get("/api/notes?state=signed").json()["notes"] == []
    assert state_of(practice)[0][0][0] == "signed"


def test_nobody_co_signs_a_note_of_her_own(practice: Practice) -> None:
    with closing(sqlite3.connect(practice.path)) as connection, connection:
        own = "UPDATE account SET supervisor_id = id WHERE name = 'harbour'"
        connection.execute(own)
    bring(practice, "signed", author="harbour")
    answer = practice.desk("harbour").post(f"{path_of(practice)}/cosign", json={})
    assert "never" in assert_problem(answer, 403)["detail"]


@pytest.mark.parametrize(
    ("end", "body", "path"),
    [
        ("sign", {}, "/based_on"),
        ("return", {}, "/reason"),
        ("return", {"reason": ""}, "/reason"),
        ("return", {"reason": "r" * 501}, "/reason"),
        ("cosign", {NOWHERE: 1}, ""),
        ("addenda", {"id": NOWHERE, "text": "More."}, "/id"),
        ("addenda", {"id": str(uuid4()), "text": ""}, "/text"),
        ("addenda", {"id": str(uuid4()), "text": "t" * 8001}, "/text"),
    ],
)
def test_a_bad_step_is_refused(
    practice: Practice, end: str, body: dict[str, Any], path: str
) -> None:
    bring(practice, "signed")
    answer = practice.desk("harbour").post(f"{path_of(practice)}/{end}", json=body)
    assert_problem(answer, 422, path)
    assert NOWHERE not in answer.text
    assert state_of(practice)[0][0][0] == "signed"


# Addenda


def test_an_addendum_is_added_once(practice: Practice) -> None:
    bring(practice, "cosigned")
    ferry, path = practice.desk("ferry"), f"{path_of(practice)}/addenda"
    body = {"id": str(uuid4()), "text": "The trial of 09:20\nwas another child's."}
    assert [ferry.post(path, json=body).status_code for _ in range(2)] == [201, 200]
    assert_problem(ferry.post(path, json=body | {"text": "Other."}), 409)
    (drafted,) = rows(practice, "SELECT id FROM note_event WHERE kind = 'drafted'")
    assert_problem(ferry.post(path, json=body | {"id": drafted[0]}), 409)
    found = ferry.get(path_of(practice)).json()
    assert found["state"] == "cosigned"
    added = [one for one in found["events"] if one["kind"] == "addendum"]
    assert [(one["id"], one["text"], one["by"]["name"]) for one in added] == [
        (body["id"], body["text"], "ferry")
    ]
    noted = rows(practice, "SELECT child_id FROM audit WHERE verb = 'added_to'")
    assert noted == [(practice.ids["Gull"],)]


# What the session keeps once its note is signed


def test_the_facts_of_a_session_are_fixed_once_its_note_is_signed(practice: Practice) -> None:
    ferry, session = practice.desk("ferry"), f"/api/sessions/{practice.ids['Gull session']}"
    ferry.post(f"{session}/close")
    bring(practice, "signed")
    before = ferry.get(session).json()
    for answer in (
        ferry.patch(session, json={"attendance": "absent"}),
        ferry.post(f"{session}/reopen"),
    ):
        assert "is signed" in assert_problem(answer, 409)["detail"]
    assert ferry.get(session).json() == before | {"note_state": "signed"}
    practice.desk("harbour").post(f"{session}/note/return", json={"reason": "Say more."})
    assert ferry.patch(session, json={"attendance": "absent"}).status_code == 200
    assert ferry.post(f"{session}/reopen").status_code == 200


# In the database itself


@pytest.mark.parametrize(
    ("state", "statement"),
    [
        ("signed", "UPDATE note SET assessment = 'Other.'"),
        ("signed", "UPDATE note SET frozen = '{}'"),
        ("signed", "UPDATE note SET state = 'draft'"),
        ("signed", "UPDATE note SET state = 'cosigned', plan_text = 'Other.'"),
        ("signed", "UPDATE note SET signed_at = '2026-03-04 00:00:00'"),
        ("cosigned", "UPDATE note SET state = 'returned'"),
        ("cosigned", "UPDATE note SET state = 'draft', assessment = 'Other.'"),
        ("draft", "UPDATE note SET account_id = NULL"),
        ("draft", "DELETE FROM note"),
        ("draft", "INSERT OR REPLACE INTO note SELECT * FROM note"),
        ("signed", "UPDATE note_event SET content = '{}'"),
        ("signed", "DELETE FROM note_event"),
        ("draft", "UPDATE note SET state = 'finished'"),
    ],
)
def test_the_database_keeps_a_note_as_it_was_signed(
    practice: Practice, state: str, statement: str
) -> None:
    bring(practice, state)
    before = state_of(practice)
    with (
        closing(sqlite3.connect(practice.path)) as connection,
        pytest.raises(sqlite3.IntegrityError),
    ):
        connection.execute(statement)
    assert state_of(practice) == before


# The queue


def queue(client: TestClient, state: str) -> list[str]:
    answer = client.get(f"/api/notes?state={state}")
    assert answer.status_code == 200, answer.text
    return [one["session_id"] for one in answer.json()["notes"]]


def new_session(practice: Practice, client: TestClient, day: str) -> str:
    path = f"/api/children/{practice.ids['Gull']}/sessions"
    made: str = client.post(path, json={"day": day}).json()["session_id"]
    return made


def test_the_supervisor_s_queue_holds_what_waits_for_her_oldest_first(
    practice: Practice,
) -> None:
    ferry, harbour = practice.desk("ferry"), practice.desk("harbour")
    sessions = [new_session(practice, ferry, f"2026-03-0{day}") for day in (6, 5, 4)]
    for session_id in sessions:
        path = f"/api/sessions/{session_id}/note"
        put(ferry, path, 0)
        practice.clock.move(minutes=1)
        assert ferry.post(f"{path}/sign", json={"based_on": 1}).status_code == 200
    assert queue(harbour, "signed") == sessions
    harbour.post(f"/api/sessions/{sessions[0]}/note/cosign", json={})
    harbour.post(f"/api/sessions/{sessions[1]}/note/return", json={"reason": "Say more."})
    assert queue(harbour, "signed") == sessions[2:]
    assert queue(ferry, "returned") == [sessions[1]]
    assert queue(harbour, "returned") == []
    line = harbour.get("/api/notes?state=signed").json()["notes"][0]
    assert line["author"]["name"] == "ferry"
    assert line["signed_at"] == "2026-03-03T12:03:00+00:00"
    noted = rows(
        practice, "SELECT DISTINCT child_id FROM audit WHERE verb = 'listed' AND kind = 'notes'"
    )
    assert noted == [(practice.ids["Gull"],)]


def test_one_s_own_drafts_are_listed_by_day(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    later, sooner = (new_session(practice, ferry, f"2026-03-0{day}") for day in (9, 8))
    for session_id in (later, sooner):
        put(ferry, f"/api/sessions/{session_id}/note", 0)
    assert queue(ferry, "draft") == [sooner, later]
    assert queue(ferry, "signed") == []
    assert queue(practice.desk("lantern"), "draft") == []


def test_the_queue_holds_no_note_that_cannot_be_opened(practice: Practice) -> None:
    bring(practice, "signed")
    with closing(sqlite3.connect(practice.path)) as connection, connection:
        connection.execute("UPDATE care_link SET to_day = '2026-03-03'")
    assert queue(practice.desk("harbour"), "signed") == []


@pytest.mark.parametrize(
    ("name", "status"),
    [("harbour", 200), ("ferry", 200), ("lantern", 200), ("beacon", 403), ("purser", 403)],
)
def test_only_therapists_list_notes(practice: Practice, name: str, status: int) -> None:
    client = practice.desk(name)
    for state in ("signed", "draft", "returned"):
        assert client.get(f"/api/notes?state={state}").status_code == status
    if status == 200:
        answer = client.get(f"/api/notes?state={NOWHERE}")
        assert_problem(answer, 422, "/state")
        assert NOWHERE not in answer.text
        assert_problem(client.get("/api/notes"), 422, "/state")


def test_a_supervisor_who_stops_supervising_has_an_empty_queue(practice: Practice) -> None:
    bring(practice, "signed")
    with practice.app.state.sessions() as db:
        account = db.get_one(Account, practice.ids["ferry"])
        account.supervisor_id = None
        db.commit()
    harbour = practice.desk("harbour")
    assert queue(harbour, "signed") == []
    assert_problem(harbour.post(f"{path_of(practice)}/cosign", json={}), 404)
