"""The page of a session: head, plan, trials as they come in, marks, observations."""

import re
from html import unescape
from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from server.fields import UUID_PATTERN
from server.numbers import NO_BREAK
from server.routes_desk_session_plan import ItemForm
from server.trial_forms import HELP_WITH_OK, NO_KIND, REASON_OF_OK, SENT_BEFORE, WHOLE_NUMBER
from tests.accounts import audited, rows
from tests.practice import NOON, Practice, drawn
from tests.unit.test_trial_facts import statements

NOWHERE = "00000000-0000-4000-8000-00000000dead"


def at(practice: Practice, more: str = "", session: str = "Gull session") -> str:
    return f"/sessions/{practice.ids[session]}{more}"


def text_of(answer: Any) -> str:
    """The words of a page, without its tags."""
    bare = re.sub(r"<[^>]+>", " ", answer.text)
    return re.sub(r"\s+", " ", unescape(bare).replace(NO_BREAK, " "))


def post(client: TestClient, path: str, **data: Any) -> Any:
    return client.post(path, data=data, follow_redirects=False)


def kept(answer: Any, place: str) -> None:
    assert answer.status_code == 303, text_of(answer)
    assert answer.headers["location"].endswith(f"#{place}")


def plan_of(practice: Practice, session: str = "Gull session") -> dict[str, Any]:
    found: dict[str, Any] = (
        practice.desk("ferry").get(f"/api/sessions/{practice.ids[session]}/plan").json()
    )
    return found


def empty_session(practice: Practice, day: str = "2026-03-03") -> str:
    made = practice.desk("ferry").post(
        f"/api/children/{practice.ids['Gull']}/sessions", json={"day": day}
    )
    practice.ids["empty"] = made.json()["session_id"]
    return f"/sessions/{practice.ids['empty']}"


def signed(practice: Practice) -> None:
    ferry, path = practice.desk("ferry"), f"/api/sessions/{practice.ids['Gull session']}/note"
    words = {"subjective": "", "objective": "", "assessment": "Steady.", "plan": ""}
    times = {"started_at": "2026-03-03T11:00:00Z", "ended_at": "2026-03-03T11:28:00Z"}
    assert ferry.patch(path.removesuffix("/note"), json=times).status_code == 200
    revision = ferry.put(path, json={"based_on": 0, **words}).json()["revision"]
    assert ferry.post(f"{path}/sign", json={"based_on": revision}).status_code == 200


# Head


def test_the_head_says_who_when_and_where_and_links_on(practice: Practice) -> None:
    page = practice.desk("ferry").get(at(practice))
    assert page.status_code == 200
    words = text_of(page)
    assert "Gull, Tuesday 3 March 2026" in words
    assert "Not begun yet. Tidewell School" in words
    for link in (
        f"/children/{practice.ids['Gull']}",
        at(practice, "/note"),
        at(practice, "/family"),
    ):
        assert f'href="{link}"' in page.text
    # No name and no code where a browser or a log would keep it.
    assert re.findall(r"<title>(.*)</title>", page.text) == ["Session · Linnet"]


def test_begin_and_end_are_noted_once_and_keep_their_time(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    kept(post(ferry, at(practice, "/begin")), "content")
    practice.clock.move(minutes=28)
    kept(post(ferry, at(practice, "/begin")), "content")
    kept(post(ferry, at(practice, "/end")), "content")
    practice.clock.move(minutes=5)
    kept(post(ferry, at(practice, "/end")), "content")
    found = ferry.get(f"/api/sessions/{practice.ids['Gull session']}").json()
    assert (found["started_at"], found["minutes"]) == (NOON.isoformat(), 28.0)
    assert "12:00–12:28, 28 min." in text_of(ferry.get(at(practice)))
    assert [verb for _, verb, _ in audited(practice, "session")].count("changed") == 2


def test_a_session_does_not_end_before_it_has_begun(practice: Practice) -> None:
    answer = post(practice.desk("ferry"), at(practice, "/end"))
    assert answer.status_code == 422
    assert "Say when it began." in text_of(answer)


def test_facts_are_kept_in_the_practices_time(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    facts = {"place": "Ropewalk Clinic", "position": "seated", "attendance": "late"}
    kept(post(ferry, at(practice, "/facts"), **facts, started="09:10", ended="09:38"), "content")
    found = ferry.get(f"/api/sessions/{practice.ids['Gull session']}").json()
    assert {name: found[name] for name in facts} == facts
    assert (found["started_at"], found["minutes"]) == ("2026-03-03T09:10:00+00:00", 28.0)
    # An empty field takes back what was said, a time that is left alone keeps its seconds.
    kept(post(ferry, at(practice, "/facts"), started="09:10"), "content")
    found = ferry.get(f"/api/sessions/{practice.ids['Gull session']}").json()
    assert (found["place"], found["attendance"], found["ended_at"]) == (None, None, None)


@pytest.mark.parametrize(
    ("data", "field", "sentence"),
    [
        ({"started": "09:38", "ended": "09:10"}, "ended", "A session ends after it starts."),
        ({"started": "noon"}, "started", "This must be a time as in 09:10."),
        ({"attendance": "asleep"}, "attendance", "This must be"),
        ({"place": "a\x1bb"}, "place", "must not hold control characters"),
    ],
)
def test_refused_facts_stay_typed_with_the_sentence_beside_the_field(
    practice: Practice, data: dict[str, str], field: str, sentence: str
) -> None:
    answer = post(
        practice.desk("ferry"), at(practice, "/facts"), **{"position": "on a crate"} | data
    )
    assert answer.status_code == 422
    block = re.search(rf'<label for="{field}">.*?</div>', answer.text, re.DOTALL)
    assert block is not None
    assert sentence in block[0]
    assert 'value="on a crate"' in answer.text
    # What was not kept is not told as if it were.
    assert "Not begun yet. Tidewell School" in text_of(answer)
    found = practice.desk("ferry").get(f"/api/sessions/{practice.ids['Gull session']}").json()
    assert (found["position"], found["started_at"]) == (None, None)


def test_a_closed_session_offers_no_change_of_its_plan_until_it_is_reopened(
    practice: Practice,
) -> None:
    ferry = practice.desk("ferry")
    kept(post(ferry, at(practice, "/close")), "content")
    page = ferry.get(at(practice)).text
    assert "/plan/items" not in page
    assert "This session is closed" in page
    answer = post(ferry, at(practice, "/plan/items/a1/close"))
    assert answer.status_code == 409
    assert "Reopen it to change its plan." in text_of(answer)
    added = add_cells(ferry, at(practice, "/plan/items"))
    assert added.status_code == 409
    assert "Reopen it to change its plan." in text_of(added)
    kept(post(ferry, at(practice, "/reopen")), "content")
    kept(post(ferry, at(practice, "/plan/items/a1/close")), "item-a1")


def test_after_signing_nothing_is_offered_that_would_be_refused(practice: Practice) -> None:
    signed(practice)
    ferry = practice.desk("ferry")
    page = ferry.get(at(practice)).text
    for path in ("/facts", "/begin", "/observations"):
        assert at(practice, path) not in page
    answer = post(
        ferry, at(practice, "/observations"), id=str(uuid4()), what="ticks", ticks="thumb_up"
    )
    assert answer.status_code == 409
    assert "note of this session is signed, so what was observed stays" in text_of(answer)
    # It began and ended before it was signed: what is asked for is so already.
    kept(post(ferry, at(practice, "/begin")), "content")
    facts = post(ferry, at(practice, "/facts"), place="Ropewalk Clinic")
    assert facts.status_code == 409
    assert "so its facts stay as they are" in text_of(facts)


# Plan


def test_an_item_says_all_that_is_asked(practice: Practice) -> None:
    practice.send(practice.tablet(), drawn())
    words = text_of(practice.desk("ferry").get(at(practice)))
    assert "1. Quay Edge (probe) trace a line, 4 mm each side" in words
    assert "left hand, left to right, seated, stylus" in words
    assert "asked 3 times, 1 trial in , open" in words


def test_all_that_came_in_is_said_and_how_much_of_it_cannot_be_used(practice: Practice) -> None:
    tablet, ferry = practice.tablet(), practice.desk("ferry")
    first, second = drawn(seq=1), drawn(seq=2)
    for tree in (first, second):
        practice.send(tablet, tree)
    mark = {"id": str(uuid4()), "outcome": "not_done"}
    assert tablet.post(f"/api/trials/{first['trial_id']}/marks", json=mark).status_code == 201
    words = text_of(ferry.get(at(practice)))
    assert "2 trials have come in, 1 not done, 1 without a mark." in words
    assert "asked 3 times, 1 trial in , open" in words
    void = {"id": str(uuid4()), "voided": True, "reason": "The screen hung."}
    assert ferry.post(f"/api/trials/{second['trial_id']}/voids", json=void).status_code == 201
    words = text_of(ferry.get(at(practice)))
    assert "2 trials have come in, 1 voided, 1 not done." in words
    assert "asked 3 times, none in yet , open" in words


def test_the_form_that_adds_sends_every_field_that_is_read(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    sent: set[str] = set()
    for task in ("high-bridge", "slow-tide"):
        page = ferry.get(at(practice), params={"task": task}).text
        form = re.search(r'action="[^"]*/plan/items" aria-label.*?</form>', page, re.DOTALL)
        assert form is not None
        sent |= set(re.findall(r' name="([^"]+)"', form[0]))
    assert sent == set(ItemForm.model_fields)


def test_an_empty_plan_says_what_to_do_first_and_takes_the_last_one(practice: Practice) -> None:
    path, ferry = empty_session(practice, "2026-03-04"), practice.desk("ferry")
    page = ferry.get(path)
    assert "No plan yet." in text_of(page)
    assert "Same as last time" in page.text
    kept(post(ferry, f"{path}/plan/same-as-last", based_on="0"), "plan")
    (item,) = plan_of(practice, "empty")["items"]
    assert (item["task"]["name"], item["state"]) == ("Quay Edge", "open")
    # Pressed twice: the second one meets another version.
    again = post(ferry, f"{path}/plan/same-as-last", based_on="0")
    assert again.status_code == 409
    assert "was changed in the meantime" in text_of(again)
    assert "Same as last time" not in ferry.get(path).text


def test_one_hand_and_direction_make_one_item(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    data = {"based_on": "1", "task_id": "high-bridge", "step": "corridor_mm:8.0", "seed": "4711"}
    more = {"hands": "right", "directions": "right_to_left", "repetitions": "4"}
    kept(
        post(ferry, at(practice, "/plan/items"), **data, **more, position="seated", tool="stylus"),
        "plan",
    )
    item = plan_of(practice)["items"][-1]
    assert item["repetitions"] == 4
    assert item["condition"] == {
        "hand": "right",
        "direction": "right_to_left",
        "position": "seated",
        "tool": "stylus",
    }
    assert item["guide"]["corridor_mm"] == 8.0
    assert "shuffle" not in text_of(ferry.get(at(practice))).split("Add a task")[0]


CELLS = {"hands": ["left", "right"], "directions": ["left_to_right", "right_to_left"]}


def add_cells(client: TestClient, path: str, **more: Any) -> Any:
    usual = {"based_on": "1", "task_id": "high-bridge", "step": "corridor_mm:12.0"}
    return post(client, path, **usual | {"seed": "4711", "repetitions": "3"} | CELLS | more)


def test_several_cells_are_asked_in_blocks_and_the_plan_keeps_the_seed(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    kept(add_cells(ferry, at(practice, "/plan/items")), "plan")
    plan = plan_of(practice)
    assert (plan["version"], len(plan["items"])) == (2, 13)
    added = plan["items"][1:]
    assert all(one["repetitions"] == 1 for one in added)
    assert len({one["item_id"] for one in added}) == 12
    cells = [(one["condition"]["hand"], one["condition"]["direction"]) for one in added]
    for block in range(3):
        assert len(set(cells[4 * block : 4 * block + 4])) == 4
    words = text_of(ferry.get(at(practice)))
    assert words.count("random order, shuffle number 4711") == 3
    block = "High Bridge (probe), trace a line, 6 mm each side: block 2 of 3"
    assert f"{block}, random order, shuffle number 4711" in words
    # The plan goes through its other door unchanged, and so does the seed.
    answer = ferry.put(
        f"/api/sessions/{practice.ids['Gull session']}/plan",
        json={"based_on": 2, "items": plan["items"]},
    )
    assert answer.status_code == 200
    assert [one["item_id"] for one in answer.json()["items"]] == [
        one["item_id"] for one in plan["items"]
    ]


def fields_to_add(client: TestClient, address: str) -> dict[str, str]:
    """The hidden fields of the form that adds a task, and its seed."""
    page = client.get(address).text
    (form,) = re.findall(r'<form[^>]*action="[^"]*/plan/items".*?</form>', page, re.DOTALL)
    found = re.findall(r'name="(based_on|task_id|id|seed)"[^>]*value="([^"]*)"', form)
    assert len(found) == 4
    return dict(found)


@pytest.mark.parametrize("cells", [CELLS, {"hands": "left", "directions": "left_to_right"}])
def test_whoever_goes_back_to_the_form_and_sends_it_again_adds_once(
    practice: Practice, cells: dict[str, Any]
) -> None:
    ferry, path = practice.desk("ferry"), at(practice, "/plan/items")
    more = cells | {"step": "corridor_mm:12.0", "repetitions": "3"}
    (chosen,) = re.findall(r'name="form" value="([^"]+)"', ferry.get(at(practice)).text)
    address = at(practice, f"?form={chosen}&task=high-bridge")
    first = fields_to_add(ferry, address)
    kept(post(ferry, path, **first | more), "plan")
    added = plan_of(practice)
    # The page is made anew, with the newest plan; its address is the same.
    back = fields_to_add(ferry, address)
    assert back == first | {"based_on": "2"}
    kept(post(ferry, path, **back | more), "plan")
    assert plan_of(practice) == added
    # What was changed there is something else.
    kept(post(ferry, path, **back | more | {"repetitions": "2"}), "plan")
    assert plan_of(practice)["version"] == 3
    count = len(plan_of(practice)["items"])
    assert count > len(added["items"])
    # And a form that is come to anew asks for the same once more.
    (fresh,) = re.findall(r'name="form" value="([^"]+)"', ferry.get(at(practice)).text)
    anew = fields_to_add(ferry, at(practice, f"?form={fresh}&task=high-bridge"))
    assert anew["id"] == fresh != chosen
    assert anew["seed"] != first["seed"]
    kept(post(ferry, path, **anew | more), "plan")
    assert len(plan_of(practice)["items"]) == count + len(added["items"]) - 1


def test_an_id_in_the_address_that_is_none_is_not_taken(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    for wrong in ("", "Gull", "<b>", "7"):
        found = fields_to_add(ferry, at(practice, f"?form={wrong}&task=high-bridge"))
        assert re.fullmatch(UUID_PATTERN, found["id"])


def test_the_same_seed_asks_the_same_order_again(practice: Practice) -> None:
    ferry, orders = practice.desk("ferry"), []
    for day, seed in (("2026-03-04", "7"), ("2026-03-05", "7"), ("2026-03-06", "8")):
        path = empty_session(practice, day)
        kept(
            add_cells(ferry, f"{path}/plan/items", based_on="0", seed=seed, repetitions="6"), "plan"
        )
        items = plan_of(practice, "empty")["items"]
        orders.append([tuple(sorted(item["condition"].items())) for item in items])
    assert orders[0] == orders[1]
    assert orders[0] != orders[2]


@pytest.mark.parametrize(
    ("more", "field", "sentence"),
    [
        ({"hands": []}, "hands", "Choose at least one hand."),
        ({"directions": ["downward"]}, "directions", "Choose at least one direction."),
        ({"repetitions": "0"}, "repetitions", "whole number from 1 to 100"),
        ({"repetitions": "many"}, "repetitions", "whole number from 1 to 100"),
        ({"seed": "-1"}, "seed", "whole number from 0 to 999999"),
        ({"step": "corridor_mm:7.0"}, "step", "This task has no such step."),
        ({"step": "corridor_mm:wide"}, "step", "This must be a number."),
    ],
)
def test_a_refused_task_stays_chosen_with_the_sentence_beside_the_field(
    practice: Practice, more: dict[str, Any], field: str, sentence: str
) -> None:
    answer = add_cells(practice.desk("ferry"), at(practice, "/plan/items"), **more)
    assert answer.status_code == 422
    # No other field stands between the field and its sentence.
    beside = rf'name="{field}"((?!name="(?!{field}")).)*{sentence}'
    assert re.search(beside, answer.text, re.DOTALL)
    assert 'value="4711"' in answer.text or "seed" in more
    assert '<option value="high-bridge" selected>' in answer.text
    assert plan_of(practice)["version"] == 1


@pytest.mark.parametrize(
    ("more", "status", "sentence"),
    [
        ({"based_on": "0"}, 409, "changed in the meantime"),
        ({"repetitions": "25"}, 409, "at most 100 items"),
        ({"task_id": "no-such-task"}, 422, "must be a task of the library"),
    ],
)
def test_what_the_plan_itself_refuses_is_said_on_the_page(
    practice: Practice, more: dict[str, str], status: int, sentence: str
) -> None:
    answer = add_cells(practice.desk("ferry"), at(practice, "/plan/items"), **more)
    assert answer.status_code == status
    assert sentence in text_of(answer)
    assert plan_of(practice)["version"] == 1


def test_a_force_band_needs_the_childs_own_median(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    data = {"task_id": "slow-tide", "step": "pressure_half_band:0.1", "hands": ["right"]}
    more = data | {"directions": ["left_to_right"], "repetitions": "2"}
    refused = add_cells(ferry, at(practice, "/plan/items"), **more)
    assert refused.status_code == 422
    assert "own median pressure with this pen" in text_of(refused)
    kept(add_cells(ferry, at(practice, "/plan/items"), **more, pressure_median="0,42"), "plan")
    assert "pressure 0.32 to 0.52 of this pen's range, not force" in text_of(
        ferry.get(at(practice))
    )


def test_cutting_stands_with_its_caution_once_a_task(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    caution = "An adult stays beside the child; scissors and small parts."
    assert caution not in text_of(ferry.get(at(practice)))
    data = {"task_id": "rope-lengths", "step": "corridor_mm:12.7"}
    kept(add_cells(ferry, at(practice, "/plan/items"), **data), "plan")
    assert text_of(ferry.get(at(practice))).count(caution) == 1
    # Before the task is added, too.
    assert caution in text_of(ferry.get(at(practice, "?task=ticket-snips"))).split("Add a task")[1]


def test_own_tasks_can_be_chosen(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    own = {"name": "Rope to the bollard", "mode": "trace", "corridor_mm": 12.0}
    made = ferry.post("/api/tasks", json=own | {"points_mm": [[10, 10], [120, 10], [120, 60]]})
    task_id = made.json()["task_id"]
    page = ferry.get(at(practice, f"?task={task_id}"))
    assert f'<option value="{task_id}" selected>Rope to the bollard</option>' in page.text
    assert 'name="hands"' in page.text


def test_an_item_is_closed_and_stays_in_the_plan(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    kept(post(ferry, at(practice, "/plan/items/a1/close")), "item-a1")
    kept(post(ferry, at(practice, "/plan/items/a1/close")), "item-a1")
    plan = plan_of(practice)
    assert (plan["version"], plan["items"][0]["state"]) == (2, "closed")
    assert "Every item is closed." in text_of(ferry.get(at(practice)))
    assert post(ferry, at(practice, "/plan/items/b7/close")).status_code == 404


# Trials and marks


def test_trials_stand_newest_first_with_their_width_and_flags(practice: Practice) -> None:
    tablet = practice.tablet()
    first, second = drawn(seq=1), drawn(seq=2)
    second["device"] = second["device"] | {"calibrated": False}
    for tree in (first, second):
        assert practice.send(tablet, tree).status_code == 201
    page = practice.desk("ferry").get(at(practice))
    assert re.findall(r'<li id="trial-([^"]+)"', page.text) == [
        second["trial_id"],
        first["trial_id"],
    ]
    words = text_of(page)
    assert "2 trials have come in, 2 without a mark." in words
    assert "2. Quay Edge 100 % on the path, width in mm not known" in words
    assert "1. Quay Edge 100 % on the path, 4 mm each side" in words
    assert "Not calibrated." in words


def test_late_and_voided_trials_say_so(practice: Practice) -> None:
    tablet, tree = practice.tablet(), drawn()
    practice.clock.move(hours=30)
    assert practice.send(tablet, tree).status_code == 201
    ferry = practice.desk("ferry")
    body = {"id": str(uuid4()), "voided": True, "reason": "The tablet was being tried out."}
    assert ferry.post(f"/api/trials/{tree['trial_id']}/voids", json=body).status_code == 201
    words = text_of(ferry.get(at(practice)))
    assert "Voided: kept, not counted. The tablet was being tried out." in words
    assert "Arrived after its day had ended." in words
    assert "none in yet" in words


def mark(client: TestClient, practice: Practice, tree: dict[str, Any], **data: Any) -> Any:
    path = at(practice, f"/trials/{tree['trial_id']}/mark")
    return post(client, path, **{"mark_id": str(uuid4())} | data)


def marks_of(practice: Practice, tree: dict[str, Any]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = (
        practice.desk("ferry").get(f"/api/trials/{tree['trial_id']}").json()["marks"]
    )
    return found


@pytest.fixture
def tree(practice: Practice) -> dict[str, Any]:
    sent = drawn()
    assert practice.send(practice.tablet(), sent).status_code == 201
    return sent


@pytest.mark.parametrize(
    ("tap", "outcome", "help_given", "words"),
    [
        ("ok", "finished", None, "OK."),
        ("helped", "finished", {"given": True}, "Helped."),
        ("spoilt", "spoilt", None, "Spoilt. Kept, not counted."),
        ("stopped", "stopped", None, "Stopped. Kept, not counted."),
    ],
)
def test_a_tap_marks_a_trial(
    practice: Practice, tree: dict[str, Any], tap: str, outcome: str, help_given: Any, words: str
) -> None:
    ferry = practice.desk("ferry")
    kept(mark(ferry, practice, tree, tap=tap), f"trial-{tree['trial_id']}")
    (found,) = marks_of(practice, tree)
    assert (found["outcome"], found["help"]) == (outcome, help_given)
    page = ferry.get(at(practice))
    assert words in text_of(page)
    assert re.findall(r'value="(\w+)" class="chosen" aria-pressed="true"', page.text) == [tap]
    assert ("ferry", "marked", tree["trial_id"]) in audited(practice, "trial")


def test_the_same_tap_sent_twice_is_one_mark(practice: Practice, tree: dict[str, Any]) -> None:
    ferry, sent = practice.desk("ferry"), {"mark_id": str(uuid4()), "tap": "helped"}
    for _ in range(3):
        kept(mark(ferry, practice, tree, **sent), f"trial-{tree['trial_id']}")
    assert len(marks_of(practice, tree)) == 1


def test_an_old_form_cannot_change_its_mark_unseen(
    practice: Practice, tree: dict[str, Any]
) -> None:
    ferry, old = practice.desk("ferry"), str(uuid4())
    kept(mark(ferry, practice, tree, mark_id=old, tap="ok"), f"trial-{tree['trial_id']}")
    other = mark(ferry, practice, tree, mark_id=old, tap="spoilt")
    assert other.status_code == 409
    assert "had been kept from this form before" in text_of(other)
    kept(mark(ferry, practice, tree, tap="stopped"), f"trial-{tree['trial_id']}")
    # Sent again after another one counts: not taken silently for said.
    assert mark(ferry, practice, tree, mark_id=old, tap="ok").status_code == 409
    assert [one["outcome"] for one in marks_of(practice, tree)] == ["finished", "stopped"]


def test_a_later_tap_carries_what_was_said_before(practice: Practice, tree: dict[str, Any]) -> None:
    ferry, place = practice.desk("ferry"), f"trial-{tree['trial_id']}"
    details = {"detail": "yes", "tap": "helped", "verbal": "2", "physical": "none", "setup": "yes"}
    kept(mark(ferry, practice, tree, **details, hand_used="right"), place)
    kept(mark(ferry, practice, tree, tap="spoilt"), place)
    kept(mark(ferry, practice, tree, tap="ok"), place)
    helped, spoilt, fine = marks_of(practice, tree)
    cues = {"verbal": 2, "gesture": 0, "demonstration": 0}
    assert helped["help"] == {"given": True, "setup": True, "cues": cues, "physical": "none"}
    assert spoilt["help"] == helped["help"]
    # "OK" takes help back.
    assert fine["help"] is None
    assert [one["hand_used"] for one in (helped, spoilt, fine)] == ["right"] * 3


@pytest.mark.parametrize(
    ("said", "field", "sentence"),
    [
        ({"verbal": "1"}, "help", HELP_WITH_OK),
        ({"physical": "minimal"}, "help", HELP_WITH_OK),
        ({"why": "tired"}, "why", REASON_OF_OK),
    ],
)
def test_ok_beside_help_is_refused_on_both_pages_alike(
    practice: Practice, tree: dict[str, Any], said: dict[str, str], field: str, sentence: str
) -> None:
    ferry = practice.desk("ferry")
    here = mark(ferry, practice, tree, detail="yes", tap="ok", **said)
    there = post(ferry, f"/trials/{tree['trial_id']}/marks", id=str(uuid4()), kind="ok", **said)
    assert (here.status_code, there.status_code) == (422, 422)
    beside = "<legend>Cues, how many</legend>.*" if field == "help" else 'name="why".*'
    (fields,) = re.findall(rf"{beside}?</fieldset>|{beside}?<button", here.text, re.DOTALL)[:1]
    assert sentence in fields
    assert sentence in there.text
    assert marks_of(practice, tree) == []


def test_both_pages_keep_that_there_was_no_physical_help(
    practice: Practice, tree: dict[str, Any]
) -> None:
    ferry = practice.desk("ferry")
    mark(ferry, practice, tree, detail="yes", tap="ok", physical="none")
    path = f"/trials/{tree['trial_id']}/marks"
    post(ferry, path, id=str(uuid4()), kind="ok", physical="none")
    found = [(one["outcome"], one["help"]) for one in marks_of(practice, tree)]
    assert found == [("finished", {"physical": "none"})] * 2


def test_a_detailed_mark_sent_twice_is_one_mark(practice: Practice, tree: dict[str, Any]) -> None:
    ferry = practice.desk("ferry")
    said = {"mark_id": str(uuid4()), "tap": "helped", "detail": "yes", "verbal": "2"}
    for _ in range(2):
        kept(mark(ferry, practice, tree, **said), f"trial-{tree['trial_id']}")
    other = mark(ferry, practice, tree, **said | {"verbal": "3"})
    assert other.status_code == 409
    assert len(marks_of(practice, tree)) == 1


def test_a_page_and_its_news_read_no_whole_report(practice: Practice, tree: dict[str, Any]) -> None:
    ferry = practice.desk("ferry")
    for end in ("", "/live"):
        with statements(practice) as said:
            answer = ferry.get(at(practice, end))
        assert answer.status_code == 200
        assert tree["trial_id"] in answer.text
        assert any("FROM result" in one for one in said)
        assert not any("result.report" in one for one in said)


def test_a_reason_belongs_to_the_outcome_that_it_was_given_for(
    practice: Practice, tree: dict[str, Any]
) -> None:
    ferry, place = practice.desk("ferry"), f"trial-{tree['trial_id']}"
    why = "another child touched the screen"
    kept(mark(ferry, practice, tree, detail="yes", tap="spoilt", why=why), place)
    assert f"Spoilt: {why}. Kept, not counted." in text_of(ferry.get(at(practice)))
    kept(mark(ferry, practice, tree, tap="spoilt"), place)
    kept(mark(ferry, practice, tree, tap="stopped"), place)
    assert [one["why"] for one in marks_of(practice, tree)] == [why, why, None]


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        ({"tap": ""}, NO_KIND),
        ({"tap": "helped", "verbal": "-1"}, WHOLE_NUMBER),
        ({"tap": "spoilt", "verbal": "100"}, "This number must be at most 99."),
        ({"tap": "spoilt", "physical": "huge"}, "This must be"),
        ({"tap": "spoilt", "hand_used": "third"}, "This must be"),
        ({"tap": "spoilt", "why": "x" * 201}, "This is too long."),
        ({"tap": "stopped", "why": "a\x1bb"}, "must not hold control characters"),
    ],
)
def test_a_refused_mark_keeps_what_was_typed(
    practice: Practice, tree: dict[str, Any], data: dict[str, str], sentence: str
) -> None:
    usual = {"detail": "yes", "gesture": "3", "why": "upset"}
    answer = mark(practice.desk("ferry"), practice, tree, **usual | data)
    assert answer.status_code == 422
    assert sentence in text_of(answer)
    assert re.search(r'name="gesture"[^>]*value="3"', answer.text)
    assert marks_of(practice, tree) == []


def test_a_trial_of_another_session_is_not_marked_here(
    practice: Practice, tree: dict[str, Any]
) -> None:
    ferry, path = practice.desk("ferry"), empty_session(practice)
    mark_path = f"{path}/trials/{tree['trial_id']}/mark"
    assert post(ferry, mark_path, mark_id=str(uuid4()), tap="ok").status_code == 404
    assert marks_of(practice, tree) == []


def test_the_words_of_the_row_are_those_of_the_tablet() -> None:
    from pathlib import Path

    from server.mark_taps import TAP_WORDS
    from server.page_session_live import REASONS
    from server.page_session_seen import TICK_WORDS

    web = Path(__file__).parents[2] / "web" / "tablet"
    strip = re.findall(r'data-mark="(\w+)">([^<]+)<', (web / "tablet.html").read_text())
    assert strip == list(TAP_WORDS.items())
    seeing = re.findall(r'\["([a-z_]+)", "([^"]+)"\]', (web / "seeing.mjs").read_text())
    assert seeing == list(TICK_WORDS.items())
    script = (web / "strip.mjs").read_text()
    listed = script.partition("const SPOILT")[2].partition("const REST")[0]
    assert tuple(re.findall(r'\["([^"]+)", "', listed)) == REASONS


# Kept fresh


def live(client: TestClient, practice: Practice, etag: str | None = None) -> Any:
    return client.get(at(practice, "/live"), headers={"If-None-Match": etag} if etag else {})


def test_the_list_is_sent_again_only_when_something_of_it_is_new(
    practice: Practice, tree: dict[str, Any]
) -> None:
    ferry = practice.desk("ferry")
    answer = live(ferry, practice)
    assert f'id="trial-{tree["trial_id"]}"' in answer.json()["html"]
    assert answer.json()["words"] == {
        "in-a1": "1 trial in",
        "came-in": "1 trial has come in, 1 without a mark.",
    }
    etag = answer.headers["etag"]
    assert live(ferry, practice, etag).status_code == 304
    state = re.findall(r'data-state="(\w+)"', answer.json()["html"])
    mark(ferry, practice, tree, tap="ok")
    after = live(ferry, practice, etag)
    assert after.status_code == 200
    assert re.findall(r'data-state="(\w+)"', after.json()["html"]) != state
    # The page and what is sent later agree, so that nothing is exchanged without need.
    page = ferry.get(at(practice)).text
    assert re.findall(r'data-state="(\w+)"', page) == re.findall(
        r'data-state="(\w+)"', after.json()["html"]
    )


def test_a_changed_plan_is_told_too(practice: Practice, tree: dict[str, Any]) -> None:
    ferry = practice.desk("ferry")
    etag = live(ferry, practice).headers["etag"]
    add_cells(ferry, at(practice, "/plan/items"))
    assert live(ferry, practice, etag).status_code == 200


# Observations


def observe(client: TestClient, practice: Practice, what: str, **data: Any) -> Any:
    sent = {"id": str(uuid4()), "what": what} | data
    return post(client, at(practice, "/observations"), **sent)


def test_an_activity_is_noted_in_one_line(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    assert "Nothing is noted yet." in text_of(ferry.get(at(practice)))
    more = {"minutes": "6,5", "help": "minimal", "remark": "Used both hands.\r\nLaughed."}
    kept(observe(ferry, practice, "activity", activity="Threading", **more), "observed")
    words = text_of(ferry.get(at(practice)))
    assert "Threading, 6.5 min, help: minimal physical help" in words
    assert "Used both hands. Laughed." in words
    ((text, minutes),) = rows(practice, "SELECT text, minutes FROM observation")
    assert (text, minutes) == ("Threading\nUsed both hands.\nLaughed.", 6.5)


def test_a_rest_ticks_and_words_are_noted_and_taken_back(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    kept(observe(ferry, practice, "rest", minutes="4", why="noise"), "observed")
    kept(observe(ferry, practice, "ticks", ticks=["thumb_up", "grip_static_tripod"]), "observed")
    kept(observe(ferry, practice, "words", kind="said", text='Gull: "again"'), "observed")
    page = ferry.get(at(practice))
    words = text_of(page)
    for said in ("Rest, 4 min", "Thumb up in the scissors", "Grip: static tripod", "Said"):
        assert said in words
    ids = re.findall(r"/observations/([0-9a-f-]{36})/remove", page.text)
    assert len(ids) == 4
    kept(post(ferry, at(practice, f"/observations/{ids[0]}/remove")), "observed")
    assert 'Gull: "again"' in words
    assert 'Gull: "again"' not in text_of(ferry.get(at(practice)))
    assert rows(practice, "SELECT count(*) FROM observation") == [(3,)]


def test_other_words_of_a_form_that_was_sent_before_are_kept_on_the_page(
    practice: Practice,
) -> None:
    ferry, path = practice.desk("ferry"), at(practice, "/observations")
    sent = {"id": str(uuid4()), "what": "words", "kind": "remark", "text": "Held it."}
    kept(post(ferry, path, **sent), "observed")
    kept(post(ferry, path, **sent), "observed")
    answer = post(ferry, path, **sent | {"text": "Held it tight."})
    assert answer.status_code == 409
    assert SENT_BEFORE in text_of(answer)
    assert ">Held it tight.</textarea>" in answer.text
    assert f'name="id" value="{sent["id"]}"' not in answer.text
    assert text_of(ferry.get(at(practice))).count("Held it.") == 1


def test_what_is_sent_twice_is_noted_once(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    for what, data in (
        ("ticks", {"ticks": ["trunk_still", "distress"]}),
        ("rest", {"why": "pain"}),
    ):
        sent = data | {"id": str(uuid4())}
        kept(observe(ferry, practice, what, **sent), "observed")
        kept(observe(ferry, practice, what, **sent), "observed")
    assert rows(practice, "SELECT count(*) FROM observation") == [(3,)]


@pytest.mark.parametrize(
    ("what", "data", "sentence"),
    [
        ("activity", {"remark": "by the window"}, "Say which activity it was."),
        ("activity", {"activity": "by the window", "minutes": "long"}, "number of minutes"),
        ("activity", {"activity": "by the window", "minutes": "9000"}, "at most 1440"),
        ("rest", {"why": "by the window", "minutes": "nan"}, "number of minutes"),
        ("words", {"kind": "said", "text": " \r\n "}, "Write what was said or seen."),
        ("ticks", {"ticks": []}, "Tick at least one."),
        ("dance", {}, "did not come in whole"),
    ],
)
def test_a_refused_observation_keeps_what_was_typed(
    practice: Practice, what: str, data: dict[str, Any], sentence: str
) -> None:
    answer = observe(practice.desk("ferry"), practice, what, **data)
    assert answer.status_code == 422
    assert sentence in text_of(answer)
    if "by the window" in data.values():
        assert 'value="by the window"' in answer.text
    assert rows(practice, "SELECT count(*) FROM observation") == [(0,)]


def test_an_observation_of_another_session_is_not_taken_back_here(practice: Practice) -> None:
    ferry, path = practice.desk("ferry"), empty_session(practice)
    observe(ferry, practice, "rest", why="noise")
    ((one,),) = rows(practice, "SELECT id FROM observation")
    assert post(ferry, f"{path}/observations/{one}/remove").status_code == 404
    assert rows(practice, "SELECT count(*) FROM observation") == [(1,)]


# Who


def test_a_session_of_somebody_elses_child_does_not_exist(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    assert ferry.get(at(practice, "", "Wren session")).status_code == 404
    assert ferry.get(f"/sessions/{NOWHERE}").status_code == 404
    assert post(ferry, at(practice, "/begin", "Wren session")).status_code == 404


def test_looking_and_changing_are_in_the_audit(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    ferry.get(at(practice))
    add_cells(ferry, at(practice, "/plan/items"))
    observe(ferry, practice, "rest", why="noise")
    assert audited(practice, "session") == [
        ("ferry", "saw", "Gull session"),
        ("ferry", "planned", "Gull session"),
    ]
    assert [verb for _, verb, _ in audited(practice, "observation")] == ["made"]


def test_what_adults_type_is_text_on_the_page(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    observe(ferry, practice, "activity", activity="<b>Rolling</b>", remark="<script>1</script>")
    page = ferry.get(at(practice)).text
    assert "<b>Rolling" not in page
    assert "&lt;script&gt;1&lt;/script&gt;" in page
