"""The page of today: sessions with their state, a session begun with one tap, the run sheet."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine, event

from server import store_sessions
from server.store_children import create_child, link
from server.store_plans import latest_plan, save_plan
from server.store_sessions import create_session
from server.tables import Account
from tests.accounts import at_once, audited, rows
from tests.practice import NOON, TODAY, Practice, drawn, plan
from tests.problem_form import assert_problem

YESTERDAY = TODAY - timedelta(days=1)


@pytest.fixture
def ferry(practice: Practice) -> TestClient:
    return practice.desk("ferry")


def page(client: TestClient, path: str = "/caseload") -> str:
    """The content of a page with single spaces that may break."""
    answer = client.get(path)
    assert answer.status_code == 200, answer.text
    return re.sub(r"\s+", " ", answer.text.partition('<main id="content"')[2])


def row_of(practice: Practice, client: TestClient, session: str) -> str:
    """The words of the row that leads to a session."""
    address = f'href="/sessions/{practice.ids[session]}">'
    text = page(client).partition(address)[2].partition("</a>")[0]
    assert text, "there is no such row"
    return re.sub(r"<[^>]+>", " ", text)


def add_child(practice: Practice, nickname: str, sign: str, carer: str = "ferry") -> str:
    with practice.app.state.sessions() as db:
        child = create_child(db, code=f"BW-{nickname}", nickname=nickname, sign=sign)
        link(db, db.get_one(Account, practice.ids[carer]), child, TODAY)
        practice.ids[nickname] = child.id
        db.commit()
    return practice.ids[nickname]


def add_session(practice: Practice, child: str, *, items: int | None = None, **facts: Any) -> str:
    """Add a session; `items` is how many items of three repetitions its plan has."""
    with practice.app.state.sessions() as db:
        session = create_session(db, child_id=practice.ids[child], **({"day": TODAY} | facts))
        if items is not None:
            kept = [plan()["items"][0] | {"item_id": f"a{at}"} for at in range(items)]
            save_plan(db, session.id, {"items": kept}, at=NOON)
        db.commit()
        return session.id


def sessions_of(practice: Practice, child: str) -> list[Any]:
    query = "SELECT id, day, started_at, account_id FROM session WHERE child_id = ? ORDER BY number"
    return rows(practice, query, practice.ids[child])


def start(client: TestClient, child_id: str) -> Any:
    return client.post(f"/children/{child_id}/sessions", follow_redirects=False)


def note(practice: Practice, client: TestClient, session: str, *, sign: bool) -> None:
    texts = {"subjective": "", "objective": "", "assessment": "Steady.", "plan": ""}
    path = f"/api/sessions/{practice.ids[session]}/note"
    revision = client.put(path, json={"based_on": 0, **texts}).json()["revision"]
    if sign:
        times = {"started_at": "2026-03-03T11:00:00Z", "ended_at": "2026-03-03T11:28:00Z"}
        session_path = path.removesuffix("/note")
        assert client.patch(session_path, json=times).status_code == 200
        assert client.post(f"{path}/sign", json={"based_on": revision}).status_code == 200


# States


def test_a_row_tells_what_is_planned_and_leads_to_session_and_child(
    practice: Practice, ferry: TestClient
) -> None:
    text = page(ferry)
    row = row_of(practice, ferry, "Gull session")
    assert "not begun yet · 3 trials planned" in row
    assert "Tidewell School" in row
    assert "note" not in row
    assert f'href="/children/{practice.ids["Gull"]}"' in text
    assert "One session, no trial in yet." in text
    assert "Wren" not in text


def test_a_row_counts_trials_and_says_how_far_the_note_is(
    practice: Practice, ferry: TestClient
) -> None:
    assert practice.send(practice.tablet(), drawn()).status_code == 201
    assert "1 of 3 trials in · no note yet" in row_of(practice, ferry, "Gull session")
    assert "One session, so far 1 trial. One note to write or sign." in page(ferry)
    note(practice, ferry, "Gull session", sign=False)
    assert "note is a draft" in row_of(practice, ferry, "Gull session")
    assert "One note to write or sign." in page(ferry)


def test_a_note_of_an_assistant_waits_and_is_co_signed(
    practice: Practice, ferry: TestClient
) -> None:
    note(practice, ferry, "Gull session", sign=True)
    assert "note signed, waits for a co-signature" in row_of(practice, ferry, "Gull session")
    assert "to write or sign" not in page(ferry)
    path = f"/api/sessions/{practice.ids['Gull session']}/note"
    harbour = practice.desk("harbour")
    assert harbour.post(f"{path}/return", json={"reason": "Which hand?"}).status_code == 200
    assert "note was returned" in row_of(practice, ferry, "Gull session")
    texts = {"subjective": "", "objective": "", "assessment": "Right hand.", "plan": ""}
    revision = ferry.put(path, json={"based_on": 1, **texts}).json()["revision"]
    ferry.post(f"{path}/sign", json={"based_on": revision})
    assert harbour.post(f"{path}/cosign", json={}).status_code == 200
    assert "note signed and co-signed" in row_of(practice, ferry, "Gull session")


def test_a_note_of_a_supervisor_waits_for_nobody(practice: Practice) -> None:
    harbour = practice.desk("harbour")
    note(practice, harbour, "Gull session", sign=True)
    row = row_of(practice, harbour, "Gull session")
    assert "note signed" in row
    assert "waits" not in row


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({}, "not begun yet · nothing planned"),
        ({"items": 0}, "not begun yet · nothing planned"),
        ({"items": 2}, "not begun yet · 6 trials planned"),
        ({"items": 2, "started_at": NOON}, "12:00 Gull begun · 0 of 6 trials in"),
        (
            {"items": 2, "started_at": NOON, "ended_at": NOON + timedelta(minutes=28)},
            "12:00–12:28 Gull over · 0 of 6 trials in · no note yet",
        ),
        # Closed and never begun: nothing happened that a note could tell.
        ({"items": 2, "closed_at": NOON}, "never begun · 0 of 6 trials in · closed"),
        (
            {"items": 2, "started_at": NOON, "closed_at": NOON},
            "12:00 Gull begun · 0 of 6 trials in · closed · no note yet",
        ),
        ({"items": 2, "attendance": "absent"}, "absent"),
        ({"items": 2, "attendance": "absent", "closed_at": NOON}, "absent · closed"),
        ({"attendance": "cancelled", "items": 2}, "cancelled"),
        ({"attendance": "left_early", "items": 1}, "begun · left early · 0 of 3 trials in"),
    ],
)
def test_a_session_without_trials_says_what_it_is(
    practice: Practice, ferry: TestClient, facts: dict[str, Any], said: str
) -> None:
    practice.ids["other"] = add_session(practice, "Gull", **facts)
    words = " ".join(row_of(practice, ferry, "other").split())
    assert words.removeprefix("Gull ") == said


def test_a_trial_that_was_not_done_is_none_of_those_asked_for(
    practice: Practice, ferry: TestClient
) -> None:
    tablet, trees = practice.tablet(), [drawn(seq=seq) for seq in (1, 2)]
    for tree in trees:
        assert practice.send(tablet, tree).status_code == 201
    path = f"/api/trials/{trees[0]['trial_id']}/marks"
    for outcome, said in (
        ("not_done", "2 trials, 1 not done · 1 of 3 asked for · no note yet"),
        ("spoilt", "2 of 3 trials in · no note yet"),
        ("not_done", "2 trials, 1 not done · 1 of 3 asked for · no note yet"),
    ):
        marked = tablet.post(path, json={"id": str(uuid4()), "outcome": outcome})
        assert marked.status_code == 201, marked.text
        # The newest mark counts.
        assert said in row_of(practice, ferry, "Gull session")
    assert "One session, so far 2 trials, 1 not done." in page(ferry)


def close_items(practice: Practice, client: TestClient, *item_ids: str) -> None:
    for item_id in item_ids:
        path = f"/sessions/{practice.ids['Gull session']}/plan/items/{item_id}/close"
        assert client.post(path, follow_redirects=False).status_code == 303


def test_an_item_that_was_closed_is_not_asked_any_more(
    practice: Practice, ferry: TestClient
) -> None:
    first = plan()["items"][0]
    with practice.app.state.sessions() as db:
        items = [first, first | {"item_id": "a2"}]
        save_plan(db, practice.ids["Gull session"], {"items": items}, at=NOON)
        db.commit()
    assert "6 trials planned" in row_of(practice, ferry, "Gull session")
    tablet = practice.tablet()
    mine = drawn()["plan"]
    for _ in range(2):
        assert practice.send(tablet, drawn()).status_code == 201
    close_items(practice, ferry, "a1")
    # [C] Two trials came of the item that was closed; none of the three still asked for.
    assert "0 of 3 trials in, 2 of closed items" in row_of(practice, ferry, "Gull session")
    assert "3 trials asked in all" in ferry.get(f"/sessions/{practice.ids['Gull session']}").text
    assert '<span class="count">3</span>' in page(ferry, "/run-sheet")
    for _ in range(3):
        tree = drawn(plan=mine | {"item_id": "a2"})
        assert practice.send(tablet, tree).status_code == 201
    assert "3 of 3 trials in, 2 of closed items" in row_of(practice, ferry, "Gull session")
    assert "One session, so far 5 trials." in page(ferry)
    close_items(practice, ferry, "a2")
    assert "5 trials in · no note yet" in row_of(practice, ferry, "Gull session")


def test_a_plan_with_every_item_closed_says_so(practice: Practice, ferry: TestClient) -> None:
    close_items(practice, ferry, "a1")
    assert "every item closed" in row_of(practice, ferry, "Gull session")


def test_the_caseload_asks_as_often_whether_one_session_has_closed_items_or_many(
    practice: Practice, ferry: TestClient
) -> None:
    asked: list[str] = []

    def heard(*told: Any) -> None:
        asked.append(told[2])

    def questions() -> int:
        asked.clear()
        page(ferry)
        return len(asked)

    closed = plan()["items"][0] | {"state": "closed"}

    def one_more() -> None:
        session_id = add_session(practice, "Gull")
        with practice.app.state.sessions() as db:
            save_plan(db, session_id, {"items": [closed]}, at=NOON)
            db.commit()

    one_more()
    questions()  # the first look at the day is one more line of the audit
    event.listen(Engine, "before_cursor_execute", heard)
    try:
        before = questions()
        for _ in range(5):
            one_more()
        assert questions() == before
    finally:
        event.remove(Engine, "before_cursor_execute", heard)
    assert before > 0


def test_sessions_stand_in_the_order_of_their_times(practice: Practice, ferry: TestClient) -> None:
    late = add_session(
        practice, "Gull", started_at=NOON + timedelta(hours=2), ended_at=NOON + timedelta(hours=3)
    )
    early = add_session(practice, "Gull", started_at=NOON - timedelta(hours=3))
    found = re.findall(r'href="/sessions/([^"]+)"', page(ferry))
    assert found == [early, late, practice.ids["Gull session"]]
    practice.ids |= {"late": late, "early": early}
    assert row_of(practice, ferry, "late").split()[0] == "14:00–15:00"  # [C] noon and two, three
    assert row_of(practice, ferry, "early").split()[0] == "09:00"


def test_a_session_of_another_day_is_not_one_of_today(
    practice: Practice, ferry: TestClient
) -> None:
    other = add_session(practice, "Gull", day=YESTERDAY)
    assert other not in page(ferry)
    practice.clock.move(days=1)
    text = page(practice.desk("ferry"))
    assert practice.ids["Gull session"] not in text
    assert "Start a session" in text


def began_late(practice: Practice, **facts: Any) -> str:
    """Return a session of yesterday, seen from ten minutes past midnight of today."""
    practice.clock.now = datetime(2026, 3, 3, 0, 10, tzinfo=UTC)
    began = {"day": YESTERDAY, "started_at": datetime(2026, 3, 2, 23, 50, tzinfo=UTC)}
    practice.ids["late"] = add_session(practice, "Gull", **(began | facts))
    return practice.ids["late"]


def test_a_session_that_runs_past_midnight_stays_in_sight_for_a_day(practice: Practice) -> None:
    began_late(practice, items=1, place="Ropewalk Clinic")
    ferry = practice.desk("ferry")
    row = " ".join(row_of(practice, ferry, "late").split())
    said = "23:50 Gull still running, since yesterday · 0 of 3 trials in Ropewalk Clinic"
    assert row == said
    text = page(ferry)
    assert text.index("From yesterday, without an end") < text.index("Sessions of today")
    # It is none of the sessions of today.
    assert "One session, no trial in yet." in text
    practice.clock.now = datetime(2026, 3, 3, 23, 49, tzinfo=UTC)
    assert practice.ids["late"] in page(practice.desk("ferry"))
    practice.clock.now = datetime(2026, 3, 3, 23, 50, tzinfo=UTC)
    assert practice.ids["late"] not in page(practice.desk("ferry"))


@pytest.mark.parametrize(
    "facts",
    [
        {"ended_at": datetime(2026, 3, 2, 23, 58, tzinfo=UTC)},
        {"closed_at": datetime(2026, 3, 2, 23, 58, tzinfo=UTC)},
        {"attendance": "cancelled"},
        {"started_at": None},
        {"day": YESTERDAY - timedelta(days=1)},
    ],
)
def test_what_ended_or_never_began_does_not_run(practice: Practice, facts: dict[str, Any]) -> None:
    late = began_late(practice, **facts)
    text = page(practice.desk("ferry"))
    assert late not in text
    assert "From yesterday" not in text


def test_nobody_sees_that_the_session_of_another_child_still_runs(practice: Practice) -> None:
    late = began_late(practice)
    assert late in page(practice.desk("ferry"))
    assert late not in page(practice.desk("lantern"))


# One count of what came in


def test_every_page_counts_what_came_in_alike(practice: Practice, ferry: TestClient) -> None:
    tablet, trees = practice.tablet(), [drawn(seq=seq) for seq in (1, 2, 3)]
    for tree in trees:
        assert practice.send(tablet, tree).status_code == 201
    session = f"/sessions/{practice.ids['Gull session']}"
    child = f"/children/{practice.ids['Gull']}"

    def void(tree: dict[str, Any], *, voided: bool = True) -> None:
        body = {"id": str(uuid4()), "voided": voided, "reason": "The screen hung."}
        answer = ferry.post(f"/api/trials/{tree['trial_id']}/voids", json=body)
        assert answer.status_code == 201, answer.text

    def all_say(words: str, verb: str) -> None:
        for path in ("/caseload", "/queue", child):
            assert re.search(rf"\b{re.escape(words)}(?![\w,]| \w)", page(ferry, path)), path
        assert verb in page(ferry, session)

    void(trees[0])
    all_say("3 trials, 1 voided", "3 trials have come in, 1 voided, 2 without a mark.")
    assert "3 trials, 1 voided · 2 of 3 asked for" in row_of(practice, ferry, "Gull session")
    mark = {"id": str(uuid4()), "outcome": "not_done"}
    for tree in trees[:2]:
        path = f"/api/trials/{tree['trial_id']}/marks"
        assert tablet.post(path, json=mark | {"id": str(uuid4())}).status_code == 201
    # The one that is both is voided only: the parts never add up to more than all.
    both = "3 trials have come in, 1 voided, 1 not done, 1 without a mark."
    all_say("3 trials, 1 voided, 1 not done", both)
    void(trees[1])
    void(trees[2])
    all_say("3 trials, 3 voided", "3 trials have come in, 3 voided.")
    note = page(ferry, f"{session}/note")
    assert "3 trials in all, 0 counted. Kept, not counted: three voided." in note
    void(trees[2], voided=False)
    all_say("3 trials, 2 voided", "3 trials have come in, 2 voided, 1 without a mark.")


# Starting


def test_one_tap_starts_a_session_with_the_plan_of_the_last_time(
    practice: Practice, ferry: TestClient
) -> None:
    practice.clock.move(days=1)
    ferry = practice.desk("ferry")
    action = f'action="/children/{practice.ids["Gull"]}/sessions"'
    assert action in page(ferry)
    answer = start(ferry, practice.ids["Gull"])
    assert answer.status_code == 303
    _, (made, day, started_at, account_id) = sessions_of(practice, "Gull")
    assert answer.headers["location"] == f"/sessions/{made}"
    assert (day, account_id) == ("2026-03-04", practice.ids["ferry"])
    assert datetime.fromisoformat(started_at).replace(tzinfo=UTC) == practice.clock.now
    with practice.app.state.sessions() as db:
        copied, last = latest_plan(db, made), latest_plan(db, practice.ids["Gull session"])
    assert copied is not None
    assert last is not None
    assert copied["version"] == 1
    (item,), (before,) = copied["items"], last["items"]
    assert item["item_id"] != before["item_id"]
    same = ("task", "guide", "condition", "repetitions")
    assert [item[name] for name in same] == [before[name] for name in same]
    assert item["state"] == "open"
    assert audited(practice, "session")[-2:] == [
        ("ferry", "made", made),
        ("ferry", "planned", made),
    ]
    # The tablet shows the child from now on.
    pack = practice.tablet().get("/api/tablet/day").json()
    assert [one["plan_id"] for one in pack["plans"]] == [copied["plan_id"]]
    assert action not in page(ferry)


def test_a_session_is_held_where_and_how_the_last_one_was(
    practice: Practice, ferry: TestClient
) -> None:
    tern = add_child(practice, "Tern", "shell rope")
    long_ago = TODAY - timedelta(days=9)
    add_session(practice, "Tern", day=long_ago, place="Ropewalk Clinic", position="kneeling")
    last = {"place": "Tidewell School", "position": "seated", "kind": "individual"}
    add_session(practice, "Tern", day=YESTERDAY, **last)
    start(ferry, tern)
    with practice.app.state.sessions() as db:
        made = store_sessions.sessions_of(db, tern)[-1]
    assert made.day == TODAY
    assert {name: getattr(made, name) for name in last} == last


def test_the_first_session_of_a_child_is_empty(practice: Practice, ferry: TestClient) -> None:
    tern = add_child(practice, "Tern", "shell rope")
    answer = start(ferry, tern)
    ((made, *_),) = sessions_of(practice, "Tern")
    assert answer.headers["location"] == f"/sessions/{made}"
    with practice.app.state.sessions() as db:
        assert latest_plan(db, made) is None
    practice.ids["made"] = made
    assert "begun · nothing planned" in row_of(practice, ferry, "made")


def test_tapping_twice_leads_to_the_same_session(practice: Practice, ferry: TestClient) -> None:
    tern = add_child(practice, "Tern", "shell rope")
    first, second = start(ferry, tern), start(ferry, tern)
    assert first.headers["location"] == second.headers["location"]
    assert len(sessions_of(practice, "Tern")) == 1


def test_two_at_once_start_one_session(practice: Practice) -> None:
    practice.clock.move(days=1)
    desks = [practice.desk(name) for name in ("ferry", "harbour") * 4]
    answers = at_once([lambda desk=desk: start(desk, practice.ids["Gull"]) for desk in desks])
    assert {one.status_code for one in answers} == {303}
    _, (made, *_) = sessions_of(practice, "Gull")
    assert {one.headers["location"] for one in answers} == {f"/sessions/{made}"}
    assert rows(practice, "SELECT count(*) FROM plan WHERE session_id = ?", made) == [(1,)]
    assert [verb for _, verb, thing in audited(practice, "session") if thing == made].count(
        "made"
    ) == 1


def test_after_a_closed_session_another_may_start(practice: Practice, ferry: TestClient) -> None:
    ferry.post(f"/api/sessions/{practice.ids['Gull session']}/close")
    start(ferry, practice.ids["Gull"])
    assert len(sessions_of(practice, "Gull")) == 2


def test_nobody_else_starts_a_session(practice: Practice) -> None:
    gull = practice.ids["Gull"]
    for nobody in (practice.client, practice.tablet()):
        answer = start(nobody, gull)
        assert (answer.status_code, answer.headers["location"]) == (
            303,
            f"/?next=/children/{gull}&lost",
        )
    for name, status in (("lantern", 404), ("beacon", 403), ("purser", 403)):
        assert_problem(start(practice.desk(name), gull), status)
    foreign = practice.desk("ferry").post(
        f"/children/{gull}/sessions", headers={"Origin": "http://elsewhere.example"}
    )
    assert_problem(foreign, 403)
    assert len(sessions_of(practice, "Gull")) == 1


# The run sheet


def test_the_run_sheet_says_which_pictures_are_which_child(
    practice: Practice, ferry: TestClient
) -> None:
    text = page(ferry, "/run-sheet")
    (row,) = re.findall(r"<tr> (<td.*?)</tr>", text)
    assert re.findall(r"#sign-(\w+)", row) == ["boat", "kite"]
    words = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", row)).strip()
    assert words == "boat and kite Gull – Tidewell School 3"
    assert "This sheet holds children's names." in text
    assert "destroy it when the day is over" in text
    assert "3 March 2026" in text
    assert "BW-91" not in text
    assert "Wren" not in text
    assert 'href="/run-sheet"' in page(ferry)


def test_the_run_sheet_counts_pictures_that_are_still_asked_for(
    practice: Practice, ferry: TestClient
) -> None:
    session = f"/api/sessions/{practice.ids['Gull session']}/plan"
    first = ferry.get(session).json()["items"][0]
    more = first | {"item_id": "b1", "repetitions": 4}
    answer = ferry.put(session, json={"based_on": 1, "items": [first | {"state": "closed"}, more]})
    assert answer.status_code == 200
    assert '<span class="count">4</span>' in page(ferry, "/run-sheet")


@pytest.mark.parametrize(
    "facts",
    [
        {"closed_at": NOON},
        {"started_at": NOON - timedelta(hours=1), "ended_at": NOON},
        {"attendance": "absent"},
        {"attendance": "cancelled"},
    ],
)
def test_the_run_sheet_leaves_out_who_is_not_to_come(
    practice: Practice, ferry: TestClient, facts: dict[str, Any]
) -> None:
    assert "left out" not in page(ferry, "/run-sheet")
    add_child(practice, "Tern", "shell rope")
    add_session(practice, "Tern", items=1, **facts)
    sheet = page(ferry, "/run-sheet")
    assert "Tern" not in sheet
    assert "One session of today is left out: over, closed, absent or cancelled." in sheet
    assert "Tern" in page(ferry)


def test_who_is_drawing_now_stands_on_the_run_sheet(practice: Practice, ferry: TestClient) -> None:
    add_child(practice, "Tern", "shell rope")
    add_session(practice, "Tern", items=1, started_at=NOON, attendance="late")
    assert "Tern" in page(ferry, "/run-sheet")


@pytest.mark.parametrize(
    ("facts", "word"),
    [
        ({}, "not begun yet"),
        ({"started_at": NOON}, "begun"),
        ({"attendance": "attended"}, "begun"),
        ({"started_at": NOON, "ended_at": NOON}, "over"),
        ({"closed_at": NOON}, "never begun"),
        ({"attendance": "absent"}, "absent"),
        ({"attendance": "absent", "started_at": NOON}, "absent"),
    ],
)
def test_caseload_and_session_page_have_one_word_for_a_state(
    practice: Practice, ferry: TestClient, facts: dict[str, Any], word: str
) -> None:
    practice.ids["other"] = add_session(practice, "Gull", items=1, **facts)
    row = " ".join(row_of(practice, ferry, "other").split())
    assert row.partition("Gull ")[2].partition(" · ")[0] == word
    stands = page(ferry, f"/sessions/{practice.ids['other']}").partition('class="stands">')[2]
    assert re.match(rf"{word.capitalize()}\b", stands)


def test_trials_that_are_in_say_that_a_session_has_begun(
    practice: Practice, ferry: TestClient
) -> None:
    assert practice.send(practice.tablet(), drawn()).status_code == 201
    shown = page(ferry, f"/sessions/{practice.ids['Gull session']}")
    assert "Begun, no time noted." in shown
    assert "begun · 1 of 3 trials in" in row_of(practice, ferry, "Gull session")


def test_the_way_to_the_note_has_the_words_of_the_caseload(
    practice: Practice, ferry: TestClient
) -> None:
    path = f"/sessions/{practice.ids['Gull session']}"
    assert ">Write the note</a>" in page(ferry, path)
    note(practice, ferry, "Gull session", sign=True)
    assert "note signed, waits for a co-signature" in row_of(practice, ferry, "Gull session")
    assert ">Note signed, waits for a co-signature</a>" in page(ferry, path)


def test_the_run_sheet_says_who_is_not_on_the_tablet_and_which_signs_are_equal(
    practice: Practice, ferry: TestClient
) -> None:
    assert "Another child has these two pictures" not in page(ferry, "/run-sheet")
    add_child(practice, "Tern", "kite boat")
    add_session(practice, "Tern")
    text = page(ferry, "/run-sheet")
    assert text.count("no plan: not on the tablet") == 1
    assert text.count("Another child has these two pictures") == 2


def test_the_run_sheet_is_noted_child_by_child(practice: Practice, ferry: TestClient) -> None:
    add_child(practice, "Tern", "shell rope")
    page(ferry, "/run-sheet")
    # Tern has no session today and does not stand on the sheet.
    assert audited(practice, "run_sheet") == [("ferry", "listed", "Gull")]


def test_an_empty_day_says_what_to_do(practice: Practice) -> None:
    practice.clock.move(days=1)
    ferry = practice.desk("ferry")
    assert "Start the first one below" in page(ferry)
    assert "No session is still to be held today." in page(ferry, "/run-sheet")
    assert audited(practice, "run_sheet") == []
