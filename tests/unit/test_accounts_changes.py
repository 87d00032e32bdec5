"""What follows from a change of an account: for the links it has made, and for tablets."""

from typing import Any

import pytest

from server.account_changes import EQUAL_SIGNS
from tests.accounts import NEW_PASSPHRASE, browser, invitation, rows, secret_of, sign_in, use
from tests.practice import Practice
from tests.problem_form import assert_problem


def second_owner(practice: Practice) -> Any:
    """Another owner, signed in; its id becomes ``skiff``."""
    practice.ids["skiff"] = use(practice, invitation(practice, "owner")).json()["account_id"]
    client = browser(practice)
    made = client.post("/api/sign-in", json={"name": "skiff", "passphrase": NEW_PASSPHRASE})
    assert made.status_code == 200
    return client


@pytest.mark.parametrize("change", [{"closed": True}, {"roles": ["researcher"]}])
def test_the_links_of_an_owner_end_with_the_role(
    practice: Practice, change: dict[str, Any]
) -> None:
    skiff, purser = second_owner(practice), practice.desk("purser")
    join = secret_of(skiff.post("/api/invitations", json={"roles": ["owner"]}))
    reset = secret_of(skiff.post(f"/api/accounts/{practice.ids['ferry']}/reset"))
    kept = secret_of(purser.post("/api/invitations", json={"roles": ["assistant"]}))
    changed = purser.patch(f"/api/accounts/{practice.ids['skiff']}", json=change)
    assert changed.status_code == 200
    assert_problem(use(practice, join, "dinghy"), 422, "/secret")
    assert_problem(use(practice, reset, None), 422, "/secret")
    assert use(practice, kept, "dinghy").status_code == 201
    assert sign_in(practice, "ferry").status_code == 200


def equal_signs(practice: Practice) -> None:
    """Gull and Wren, whom nobody sees together so far, get the same pictures."""
    wren = f"/api/children/{practice.ids['Wren']}"
    assert practice.desk("lantern").patch(wren, json={"sign": ["kite", "boat"]}).status_code == 200


def test_nobody_comes_to_supervise_two_children_with_the_same_pictures(
    practice: Practice,
) -> None:
    equal_signs(practice)
    owner = practice.desk("purser")
    address = f"/api/accounts/{practice.ids['lantern']}"
    body = {"supervisor_id": practice.ids["harbour"]}
    assert assert_problem(owner.patch(address, json=body), 409)["detail"] == EQUAL_SIGNS
    assert rows(practice, "SELECT count(*) FROM account WHERE supervisor_id IS NOT NULL") == [(1,)]
    wren = f"/api/children/{practice.ids['Wren']}"
    practice.desk("lantern").patch(wren, json={"sign": ["shell", "rope"]})
    assert owner.patch(address, json=body).status_code == 200


def test_equal_pictures_of_before_stop_no_other_change(practice: Practice) -> None:
    equal_signs(practice)
    rows(
        practice,
        "UPDATE account SET supervisor_id = ? WHERE id = ?",
        practice.ids["harbour"],
        practice.ids["lantern"],
    )
    address = f"/api/accounts/{practice.ids['lantern']}"
    body = {"roles": ["assistant", "researcher"]}
    assert practice.desk("purser").patch(address, json=body).status_code == 200


def test_a_link_that_begins_later_keeps_nobody_s_child_in_sight_today(practice: Practice) -> None:
    harbour = practice.desk("harbour")
    later = {"account_id": practice.ids["lantern"], "from_day": "2026-03-10"}
    links = f"/api/children/{practice.ids['Gull']}/links"
    assert harbour.post(links, json=later).status_code == 201
    owner = practice.desk("purser")
    address = f"/api/accounts/{practice.ids['ferry']}"
    assert owner.patch(address, json={"supervisor_id": None}).status_code == 200
    assert_problem(owner.patch(address, json={"closed": True}), 409)
    practice.clock.move(days=7)
    owner = practice.desk("purser")
    assert owner.patch(address, json={"closed": True}).status_code == 200
