"""The page of a child and the forms of its goals."""

import re
import sqlite3
from contextlib import closing
from importlib.resources import files
from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from server import goal_progress, page_goals
from tests.practice import Practice, drawn
from tests.rights_requests import GOAL_FORM
from tests.unit.test_goals import GOAL, set_goal

NONE = "00000000-0000-4000-8000-0000000000ff"


def child(practice: Practice, nickname: str = "Gull") -> str:
    return f"/children/{practice.ids[nickname]}"


def seen(text: str) -> str:
    plain = re.sub(r"<[^>]*>", " ", text).replace("\N{NO-BREAK SPACE}", " ").replace("&nbsp;", " ")
    return re.sub(r"\s+", " ", plain)


def page(practice: Practice, address: str, name: str = "harbour") -> str:
    answer = practice.desk(name).get(address)
    assert answer.status_code == 200, answer.text
    return str(answer.text)


def sent(client: TestClient, address: str, form: dict[str, str]) -> Any:
    return client.post(address, data=form, follow_redirects=False)


def tell(tablet: TestClient, practice: Practice, tree: dict[str, Any], **mark: Any) -> None:
    assert practice.send(tablet, tree).status_code == 201
    body = {"id": str(uuid4()), "outcome": "finished"} | mark
    assert tablet.post(f"/api/trials/{tree['trial_id']}/marks", json=body).status_code == 201


def rows(practice: Practice, query: str) -> list[Any]:
    with closing(sqlite3.connect(practice.path)) as connection:
        return connection.execute(query).fetchall()


def test_an_empty_page_says_what_will_be_there(practice: Practice) -> None:
    text = seen(page(practice, child(practice)))
    assert "No open goal." in text
    assert "Once a task has been drawn in two sessions" in text


def test_a_goal_stands_first_with_its_sentence_count_interval_and_what_was_left_out(
    practice: Practice,
) -> None:
    set_goal(practice, help={}, baseline=None, conditions=GOAL["conditions"])
    tablet = practice.tablet()
    for beside_mm in (1.0, 5.0):
        tell(tablet, practice, drawn(beside_mm=beside_mm))
    spoilt = drawn()
    practice.send(tablet, spoilt)
    mark = {"id": NONE, "outcome": "spoilt"}
    assert tablet.post(f"/api/trials/{spoilt['trial_id']}/marks", json=mark).status_code == 201
    text = seen(page(practice, child(practice), "ferry"))
    assert text.index("Goals") < text.index("Next step") < text.index("From session to session")
    assert "Gull will stay on the path of Quay Edge, within 4 mm each side" in text
    # [P] Wilson 1927, 1 of 2: 9.45 to 90.55 %.
    assert "So far met in 1 of 2 trials that count, on 1 day (95 % interval 9 to 91 %)" in text
    assert "Left out: 1 × Spoilt: kept, not counted." in text


def test_a_goal_is_set_with_a_form_as_with_the_json_door(practice: Practice) -> None:
    harbour = practice.desk("harbour")
    answer = sent(harbour, f"{child(practice)}/goals/new", GOAL_FORM)
    assert (answer.status_code, answer.headers["location"]) == (303, child(practice))
    (goal,) = harbour.get(f"/api{child(practice)}/goals").json()["goals"]
    assert goal["criterion"] == {"at_least": 0.8, "unit": "1"}
    assert goal["conditions"] == {"corridor_mm": 8.0}
    assert (goal["k"], goal["n"], goal["days"], goal["status"]) == (4, 5, 2, "open")
    found = rows(practice, "SELECT verb, child_id FROM audit WHERE kind = 'goal'")
    assert ("added", practice.ids["Gull"]) in found


def test_whoever_goes_back_to_the_form_and_sends_it_again_sets_one_goal(
    practice: Practice,
) -> None:
    harbour, address = practice.desk("harbour"), f"{child(practice)}/goals/new"
    link = f'href="{address}\\?form=([^"]+)"'
    (own,) = re.findall(link, harbour.get(child(practice)).text)
    for _ in range(2):
        shown = harbour.get(f"{address}?form={own}").text
        assert f'name="id" value="{own}"' in shown
        assert sent(harbour, address, GOAL_FORM | {"id": own}).status_code == 303
    assert rows(practice, "SELECT count(*) FROM goal") == [(1,)]
    (fresh,) = re.findall(link, harbour.get(child(practice)).text)
    assert fresh != own
    assert sent(harbour, address, GOAL_FORM | {"id": fresh}).status_code == 303
    assert rows(practice, "SELECT count(*) FROM goal") == [(2,)]
    # What is no id is none, in the address too.
    assert 'name="id" value="Gull"' not in harbour.get(f"{address}?form=Gull").text


def test_a_refused_form_keeps_what_was_typed_and_stores_nothing(practice: Practice) -> None:
    harbour = practice.desk("harbour")
    form = GOAL_FORM | {"at_least": "180", "purpose": "<b>tying</b> knots", "n": "many"}
    answer = sent(harbour, f"{child(practice)}/goals/new", form)
    assert answer.status_code == 422
    assert "&lt;b&gt;tying&lt;/b&gt; knots" in answer.text
    assert 'value="many"' in answer.text
    assert 'id="n-trouble">This must be a whole number.' in answer.text
    assert re.search(
        r'<input id="n"[^>]*aria-invalid="true" aria-describedby="n-trouble', answer.text
    )
    assert rows(practice, "SELECT count(*) FROM goal") == [(0,)]


def test_a_change_is_a_new_version_and_an_old_form_is_refused(practice: Practice) -> None:
    goal_id = set_goal(practice)["goal_id"]
    harbour, address = practice.desk("harbour"), f"{child(practice)}/goals/{goal_id}"
    form = GOAL_FORM | {"based_on": "1", "k": "3"}
    answer = sent(harbour, address, form)
    assert (answer.status_code, answer.headers["location"]) == (303, address)
    assert rows(practice, "SELECT version, k FROM goal") == [(1, 4), (2, 3)]
    audit = f"SELECT verb, child_id FROM audit WHERE verb = 'changed' AND object_id = '{goal_id}'"
    assert rows(practice, audit) == [("changed", practice.ids["Gull"])]
    again = sent(harbour, address, form | {"purpose": "typed meanwhile"})
    assert again.status_code == 409
    assert "changed in the meantime" in again.text
    assert "typed meanwhile" in again.text
    # The form stands on the version that is there now, which is told, and so can be taken.
    assert set(re.findall(r'name="based_on" value="(.*?)"', again.text)) == {"2"}
    assert "The goal is now version 2: During drawing the harbour" in seen(again.text)
    assert rows(practice, "SELECT count(*) FROM goal") == [(2,)]
    taken = sent(harbour, address, form | {"purpose": "typed meanwhile", "based_on": "2"})
    assert taken.status_code == 303
    assert rows(practice, "SELECT version, purpose FROM goal WHERE version = 3") == [
        (3, "typed meanwhile")
    ]
    text = seen(page(practice, address, "ferry"))
    assert text.index("Version 2") < text.index("Version 1")


def test_an_old_form_neither_hides_the_newer_version_nor_opens_the_goal_again(
    practice: Practice,
) -> None:
    goal_id = set_goal(practice)["goal_id"]
    harbour, address = practice.desk("harbour"), f"{child(practice)}/goals/{goal_id}"
    ended = sent(harbour, f"{address}/status", {"based_on": "1", "status": "met"})
    assert ended.status_code == 303
    old = GOAL_FORM | {"based_on": "1", "status": "open"}
    # Refused for a field first: the newer version is told all the same.
    for form, status in ((old | {"n": "many"}, 422), (old, 409)):
        again = sent(harbour, address, form)
        assert again.status_code == status
        assert "The goal is now version 2" in again.text
        assert 'name="based_on" value="2"' in again.text
        assert '<input type="hidden" name="status" value="met">' in again.text
    fresh = sent(harbour, address, GOAL_FORM | {"based_on": "2", "n": "many"})
    assert fresh.status_code == 422
    assert "The goal is now version" not in fresh.text


def test_a_goal_is_counted_once_and_day_by_day_with_its_interval(
    practice: Practice, monkeypatch: pytest.MonkeyPatch
) -> None:
    goal_id = set_goal(practice, help={}, baseline=None)["goal_id"]
    tablet = practice.tablet()
    for beside_mm in (1.0, 1.0, 1.0, 1.0, 5.0):
        tell(tablet, practice, drawn(beside_mm=beside_mm))
    tell(tablet, practice, drawn(), help={"physical": "total"})
    asked: list[Any] = []

    def counted(*told: Any) -> dict[str, Any]:
        asked.append(told)
        return goal_progress.progress_of(*told)

    monkeypatch.setattr(page_goals, "progress_of", counted)
    text = seen(page(practice, f"{child(practice)}/goals/{goal_id}"))
    assert len(asked) == 1
    day_by_day = text[text.index("Day by day") :]
    # [P] Wilson 1927, 4 of 6: 30.00 to 90.32 %.
    assert (
        "3 March 2026 4 of 6 95 % interval 30 to 90 % "
        "More help than the goal allows in 1 of these: not met."
    ) in day_by_day


def test_each_table_of_a_goal_stacks_on_a_phone_with_a_word_before_each_cell(
    practice: Practice,
) -> None:
    goal_id = set_goal(practice, help={}, baseline=None)["goal_id"]
    tell(practice.tablet(), practice, drawn())
    text = page(practice, f"{child(practice)}/goals/{goal_id}")
    tables = re.findall(r"<table[^>]*>.*?</table>", text, re.DOTALL)
    assert len(tables) == 2  # day by day, versions
    for table in tables:
        assert table.startswith('<table class="stack" role="table" aria-label=')
        heads = re.findall(r'role="columnheader"[^>]*>([^<]+)<', table)
        words = re.findall(r'<td[^>]* data-word="([^"]+)"', table)
        assert len(words) == table.count("<td") > 0
        assert words == heads[1:]


def test_the_form_of_a_goal_shows_it_and_sends_it_back_unchanged(practice: Practice) -> None:
    goal = set_goal(practice)
    address = f"{child(practice)}/goals/{goal['goal_id']}"
    text = page(practice, address)
    form = dict(re.findall(r'<input[^>]*name="(\w+)" value="([^"]*)"', text))
    form |= {"purpose": GOAL["purpose"]}
    for name, body in re.findall(r'<select id="(\w+)"(.*?)</select>', text, re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', body)
        form[name] = chosen.group(1) if chosen else ""
    # Set-up is not allowed by this goal: its box is not checked and a browser sends nothing.
    assert "checked" not in re.search(r'<input id="setup"[^>]*>', text).group()  # type: ignore[union-attr]
    assert form.pop("setup", None) is None
    assert sent(practice.desk("harbour"), address, form).status_code == 303
    newest = practice.desk("harbour").get(f"/api{child(practice)}/goals").json()["goals"][0]
    told = ("criterion", "conditions", "help", "baseline", "k", "n", "days", "due", "status")
    assert {name: newest[name] for name in told} == {name: goal[name] for name in told}
    assert newest["version"] == 2


@pytest.mark.parametrize("status", ["met", "continued", "changed", "stopped"])
def test_a_goal_that_ended_is_folded_and_may_be_opened_again(
    practice: Practice, status: str
) -> None:
    goal_id = set_goal(practice)["goal_id"]
    harbour, address = practice.desk("harbour"), f"{child(practice)}/goals/{goal_id}/status"
    answer = sent(harbour, address, {"based_on": "1", "status": status})
    assert (answer.status_code, answer.headers["location"]) == (303, child(practice))
    text = seen(page(practice, child(practice)))
    assert "No open goal." in text
    assert "Goals that are closed : 1" in text
    assert f"{status.capitalize()} since 3 March 2026" in text
    assert sent(harbour, address, {"based_on": "2", "status": "open"}).status_code == 303
    assert rows(practice, "SELECT status FROM goal") == [("open",), (status,), ("open",)]
    audit = "SELECT count(*) FROM audit WHERE verb = 'changed' AND kind = 'goal'"
    assert rows(practice, audit) == [(2,)]


def test_a_status_that_there_is_not_is_refused_beside_the_choice(practice: Practice) -> None:
    goal_id = set_goal(practice)["goal_id"]
    address = f"{child(practice)}/goals/{goal_id}/status"
    answer = sent(practice.desk("harbour"), address, {"based_on": "1", "status": "improved"})
    assert answer.status_code == 422
    assert "Choose one of these." in answer.text
    assert rows(practice, "SELECT count(*) FROM goal") == [(1,)]


def test_assistants_read_goals_without_forms(practice: Practice) -> None:
    goal_id = set_goal(practice)["goal_id"]
    text = page(practice, f"{child(practice)}/goals/{goal_id}", "ferry")
    assert "<fieldset" not in text
    assert "goals/new" not in page(practice, child(practice), "ferry")
    assert "goals/new" in page(practice, child(practice))


def test_a_goal_is_found_under_its_own_child_only(practice: Practice) -> None:
    goal_id = set_goal(practice)["goal_id"]
    harbour = practice.desk("harbour")
    answer = harbour.post(
        f"/api/children/{practice.ids['Gull']}/links", json={"account_id": practice.ids["lantern"]}
    )
    assert answer.status_code == 201, answer.text
    lantern = practice.desk("lantern")
    assert lantern.get(f"{child(practice)}/goals/{goal_id}").status_code == 200
    # The same account sees both children, and the goal still belongs to one of them.
    assert lantern.get(f"{child(practice, 'Wren')}/goals/{goal_id}").status_code == 404
    assert lantern.get(f"{child(practice)}/goals/{NONE}").status_code == 404


def test_each_session_of_the_list_leads_to_its_page(practice: Practice) -> None:
    assert f'href="/sessions/{practice.ids["Gull session"]}"' in page(practice, child(practice))


def test_a_tablet_that_lay_differently_is_told_beside_its_series(practice: Practice) -> None:
    tablet = practice.tablet()
    for number, place in enumerate(("centred", "centred", "left")):
        tree = drawn(seq=number)
        tree["condition"] |= {"tablet_at": place, "surface": "flat"}
        assert practice.send(tablet, tree).status_code == 201
        if number == 1:
            assert "did not lie the same" not in page(practice, child(practice))
    text = seen(page(practice, child(practice)))
    assert (
        "the tablet did not lie the same in all trials: tablet centred, flat surface in 2 and "
        "tablet to the left, flat surface in 1." in text
    )


def test_every_class_of_the_style_sheet_is_one_that_a_page_sets() -> None:
    desk = files("web") / "desk"
    pages = " ".join(
        one.read_text("utf-8") for one in desk.iterdir() if one.name.endswith((".html", ".mjs"))
    )
    words = set(re.findall(r"[a-z][a-z-]+", pages))
    style = re.sub(r"/\*.*?\*/|{[^{}]*}", "", (desk / "child.css").read_text("utf-8"), flags=re.S)
    classes = set(re.findall(r"\.([a-z][a-z-]*)", style))
    assert "goals" in classes
    assert classes <= words, classes - words
