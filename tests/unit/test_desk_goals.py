"""The forms of a goal: sent twice, changed, and refused where no trial could ever meet it."""

import re
from datetime import timedelta

import pytest

from server.goal_typed import typed_of
from server.store_goals import versions_of
from server.tables import GoalRow
from tests.practice import Practice
from tests.rights_requests import GOAL_FORM
from tests.unit.test_desk_child import child, page, rows, sent
from tests.unit.test_goals import set_goal


def test_a_form_that_is_sent_twice_sets_one_goal(practice: Practice) -> None:
    harbour, address = practice.desk("harbour"), f"{child(practice)}/goals/new"
    (typed,) = set(re.findall(r'name="id" value="([^"]+)"', page(practice, address)))
    (other,) = set(re.findall(r'name="id" value="([^"]+)"', page(practice, address)))
    assert typed != other
    for _ in range(2):
        assert sent(harbour, address, GOAL_FORM | {"id": typed}).status_code == 303
    assert rows(practice, "SELECT id, version FROM goal") == [(typed, 1)]
    # Back in the browser, changed and sent again: nothing is lost, and nothing set unasked.
    changed = GOAL_FORM | {"id": typed, "k": "3"}
    answer = sent(harbour, address, changed)
    assert answer.status_code == 409
    assert "What you typed is kept here" in answer.text
    assert 'name="k" value="3"' in answer.text
    (fresh_id,) = re.findall(r'name="id" value="([^"]+)"', answer.text)
    assert fresh_id != typed
    assert sent(harbour, address, changed | {"id": fresh_id}).status_code == 303
    assert rows(practice, "SELECT count(*) FROM goal") == [(2,)]


def test_an_id_that_is_none_is_told_and_replaced(practice: Practice) -> None:
    harbour, address = practice.desk("harbour"), f"{child(practice)}/goals/new"
    answer = sent(harbour, address, GOAL_FORM | {"id": "../../puffin"})
    assert answer.status_code == 422
    assert "puffin" not in answer.text
    (fresh_id,) = re.findall(r'name="id" value="([^"]+)"', answer.text)
    assert sent(harbour, address, GOAL_FORM | {"id": fresh_id}).status_code == 303


@pytest.mark.parametrize(
    ("field", "change", "said"),
    [
        ("direction", {"task_id": "quay-edge", "direction": "clockwise"}, "drawn left to right"),
        ("hand", {"task_id": "quay-edge", "hand": "both"}, "asked for left hand"),
        ("measure", {"measure": "corner_count"}, "whoever draws on it"),
        ("due", {"due": "2026-03-02"}, "This day is over"),
        ("half_mm", {"task_id": "portholes", "measure": "hit_share"}, "no path with a width"),
        ("purpose", {"purpose": "x" * 20_000}, "500"),
        ("hand", {"hand": "x" * 2_000}, "one of"),
    ],
)
def test_what_cannot_be_met_is_refused_beside_its_field(
    practice: Practice, field: str, change: dict[str, str], said: str
) -> None:
    answer = sent(practice.desk("harbour"), f"{child(practice)}/goals/new", GOAL_FORM | change)
    assert answer.status_code == 422
    (beside,) = re.findall(rf'id="{field}-trouble">([^<]*)<', answer.text)
    assert said in beside.replace("\N{NO-BREAK SPACE}", " ")
    assert f'aria-describedby="{field}-trouble' in answer.text
    assert rows(practice, "SELECT count(*) FROM goal") == [(0,)]


def test_the_form_offers_no_measure_that_no_goal_can_rest_on(practice: Practice) -> None:
    text = page(practice, f"{child(practice)}/goals/new")
    assert 'value="steering_rate"' in text
    assert not any(f'value="{one}"' in text for one in ("corner_count", "snip_count"))


def test_an_ended_goal_whose_day_is_over_is_opened_with_another_day(practice: Practice) -> None:
    goal_id = set_goal(practice, due="2026-03-04")["goal_id"]
    harbour, address = practice.desk("harbour"), f"{child(practice)}/goals/{goal_id}"
    ended = sent(harbour, f"{address}/status", {"status": "stopped", "based_on": "1"})
    assert ended.status_code == 303
    practice.clock.now += timedelta(days=3)
    harbour = practice.desk("harbour")
    form = {"status": "open", "based_on": "2"}
    answer = sent(harbour, f"{address}/status", form)
    assert answer.status_code == 422
    assert "It cannot be open as it stands" in answer.text
    (beside,) = re.findall(r'id="due-trouble">([^<]*)<', answer.text)
    assert "This day is over" in beside
    assert "<details open>" in answer.text
    later = typed_of(set_row(practice, goal_id)).model_copy(update={"due": "2026-05-01"})
    assert sent(harbour, address, later.model_dump()).status_code == 303
    assert sent(harbour, f"{address}/status", form | {"based_on": "3"}).status_code == 303


def test_a_change_that_is_sent_twice_is_one_version(practice: Practice) -> None:
    goal_id = set_goal(practice)["goal_id"]
    harbour, address = practice.desk("harbour"), f"{child(practice)}/goals/{goal_id}"
    change = GOAL_FORM | {"based_on": "1", "k": "2"}
    assert [sent(harbour, address, change).status_code for _ in range(2)] == [303, 303]
    assert sent(harbour, address, change | {"k": "3"}).status_code == 409
    end = {"based_on": "2", "status": "met"}
    assert [sent(harbour, f"{address}/status", end).status_code for _ in range(2)] == [303, 303]
    assert sent(harbour, f"{address}/status", end | {"status": "stopped"}).status_code == 409
    # The first change is not the newest any more.
    assert sent(harbour, address, change).status_code == 409
    assert rows(practice, "SELECT version, k, status FROM goal") == [
        (1, 4, "open"),
        (2, 2, "open"),
        (3, 2, "met"),
    ]
    written = "SELECT count(*) FROM audit WHERE kind = 'goal' AND verb = 'changed'"
    assert rows(practice, written) == [(2,)]


def set_row(practice: Practice, goal_id: str) -> GoalRow:
    with practice.app.state.sessions() as db:
        return versions_of(db, goal_id)[-1]
