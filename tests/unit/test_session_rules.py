"""What the facts of a session and the tasks of its plan must go together with, and when."""

import re
from typing import Any
from uuid import uuid4

import pytest

from server.attendance import WAS_THERE
from tests.practice import Practice, drawn
from tests.problem_form import assert_problem
from tests.unit.test_page_session import at, kept, mark, plan_of, post, signed, text_of
from tests.unit.test_page_session_refusals import is_the_page_again, usual


@pytest.fixture
def tree(practice: Practice) -> dict[str, Any]:
    sent = drawn()
    assert practice.send(practice.tablet(), sent).status_code == 201
    return sent


# Tools


@pytest.mark.parametrize(
    ("task_id", "step", "tool", "fits"),
    [
        ("two-oars", "corridor_mm:18.0", "stylus", "finger"),
        ("rope-lengths", "corridor_mm:12.7", "finger", "scissors or stylus"),
        ("high-bridge", "corridor_mm:12.0", "scissors", "stylus or finger"),
        ("portholes", "diameter_mm:18.0", "glue", "stylus or finger"),
        ("punch-row", "diameter_mm:12.0", "stylus", "pencil, crayon, marker or punch"),
        ("slow-tide", "pressure_half_band:0.1", "finger", "stylus"),
    ],
)
def test_a_tool_that_does_not_go_with_the_task_is_refused_at_the_desk_and_by_scripts(
    practice: Practice, task_id: str, step: str, tool: str, fits: str
) -> None:
    ferry = practice.desk("ferry")
    offered = ferry.get(at(practice, f"?task={task_id}")).text
    form = offered.partition('id="tool"')[2].partition("</select>")[0]
    words = re.findall(r'value="(\w+)"', form)
    *others, last = words
    assert (f"{', '.join(others)} or {last}" if others else last) == fits
    hands = re.findall(r'name="hands" value="(\w+)"', offered)
    way = re.findall(r'name="directions" value="(\w+)"', offered)[0]
    sent = {"task_id": task_id, "step": step, "hands": hands[0], "directions": way}
    if task_id == "slow-tide":
        sent |= {"pressure_median": "0.4"}
    usual_item = usual("/plan/items") | sent
    answer = post(ferry, at(practice, "/plan/items"), **usual_item, tool=tool)
    is_the_page_again(answer)
    assert f"For this task choose {fits}, or leave the tool unsaid." in text_of(answer)
    body = {"based_on": 1, "task_id": task_id, "hand": hands[0], "repetitions": 1, "tool": tool}
    if task_id == "slow-tide":
        body |= {"pressure_median": 0.4}
    path = f"/api{at(practice, '/plan')}"
    refused = assert_problem(ferry.post(f"{path}/items", json=body), 422)
    assert refused["errors"][0]["path"] == "/tool"
    # What the desk offers is taken; and of another tool nothing came into the plan.
    made = ferry.post(f"{path}/items", json=body | {"tool": words[0]})
    assert made.status_code == 201, made.text
    item = made.json()["items"][-1]
    other = item | {"item_id": "b2", "condition": item["condition"] | {"tool": tool}}
    whole = {"based_on": 2, "items": [*made.json()["items"], other]}
    refused = assert_problem(ferry.put(path, json=whole), 422)
    assert refused["errors"][0]["path"] == "/items/2/condition/tool"
    assert plan_of(practice)["version"] == 2


# Absent


@pytest.mark.parametrize("attendance", ["absent", "cancelled"])
def test_nobody_is_absent_of_whom_trials_are_in(
    practice: Practice, tree: dict[str, Any], attendance: str
) -> None:
    ferry = practice.desk("ferry")
    answer = post(ferry, at(practice, "/facts"), attendance=attendance, place="Ropewalk Clinic")
    is_the_page_again(answer)
    assert WAS_THERE in text_of(answer)
    assert 'value="Ropewalk Clinic"' in answer.text
    assert f'<option value="{attendance}" selected>' in answer.text
    api = f"/api{at(practice)}"
    refused = assert_problem(ferry.patch(api, json={"attendance": attendance}), 422)
    assert refused["errors"] == [{"path": "/attendance", "detail": WAS_THERE}]
    assert (ferry.get(api).json()["attendance"], ferry.get(api).json()["place"]) == (
        None,
        "Tidewell School",
    )
    # A sibling drew: the trial is voided, and the child was absent after all.
    void = {"id": str(uuid4()), "voided": True, "reason": "A sibling drew."}
    ferry.post(f"/api/trials/{tree['trial_id']}/voids", json=void)
    kept(post(ferry, at(practice, "/facts"), attendance=attendance), "content")


def test_other_facts_change_though_trials_came_in_after_somebody_was_noted_absent(
    practice: Practice,
) -> None:
    ferry = practice.desk("ferry")
    kept(post(ferry, at(practice, "/facts"), attendance="absent"), "content")
    assert practice.send(practice.tablet(), drawn()).status_code == 201
    kept(post(ferry, at(practice, "/facts"), attendance="absent", place="Hall"), "content")
    kept(post(ferry, at(practice, "/facts"), attendance="late"), "content")


def test_a_session_has_as_many_trials_in_every_list(
    practice: Practice, tree: dict[str, Any]
) -> None:
    ferry, tablet = practice.desk("ferry"), practice.tablet()
    other = drawn(seq=2)
    practice.send(tablet, other)
    mark_body = {"id": str(uuid4()), "outcome": "not_done"}
    assert tablet.post(f"/api/trials/{other['trial_id']}/marks", json=mark_body).status_code == 201
    assert ferry.get(f"/api{at(practice)}").json()["trials"] == 1
    void = {"id": str(uuid4()), "voided": True, "reason": "A sibling drew."}
    ferry.post(f"/api/trials/{tree['trial_id']}/voids", json=void)
    assert ferry.get(f"/api{at(practice)}").json()["trials"] == 0


# After signing


def test_before_a_mark_after_signing_it_is_said_that_the_note_will_show_it(
    practice: Practice, tree: dict[str, Any]
) -> None:
    ferry = practice.desk("ferry")
    pages = (at(practice), f"/trials/{tree['trial_id']}")
    warning = "the signed note will show it as changed since signing"
    for page in pages:
        assert warning not in text_of(ferry.get(page))
    signed(practice)
    for page, form in zip(pages, ("/mark", "/marks"), strict=True):
        text = ferry.get(page).text
        assert warning in text
        assert text.index(warning) < text.index(f'{form}"')
    # And so it does.
    kept(mark(ferry, practice, tree, tap="spoilt"), f"trial-{tree['trial_id']}")
    assert "changed since" in text_of(ferry.get(at(practice, "/note"))).lower()


def test_a_session_with_a_signed_note_says_so_where_a_trial_may_be_moved_to_it(
    practice: Practice, tree: dict[str, Any]
) -> None:
    ferry = practice.desk("ferry")
    made = ferry.post(
        f"/api/children/{practice.ids['Gull']}/sessions", json={"day": "2026-03-02"}
    ).json()
    body = {"patch": {"session_id": made["session_id"]}, "id": str(uuid4()), "reason": "Mixed up."}
    assert "note signed" not in text_of(ferry.get(f"/trials/{tree['trial_id']}"))
    assert ferry.post(f"/api/trials/{tree['trial_id']}/amendments", json=body).status_code == 201
    signed(practice)
    shown = text_of(ferry.get(f"/trials/{tree['trial_id']}"))
    assert "3 March 2026, Tidewell School, note signed" in shown
    assert "as changed since signing" not in shown
