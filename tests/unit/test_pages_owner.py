"""Where signing in leads an owner, and the pages of accounts and invitations."""

import re
from typing import Any

import pytest
from fastapi.testclient import TestClient

from server.account_changes import LAST_OWNER, ORPHANS
from server.routes_desk_owner import NO_ROLE, NOT_SURE, TAKES_AWAY
from server.routes_owner import MADE_BEFORE
from tests.accounts import audited, browser, is_in, rows, sign_in, use
from tests.practice import PASSPHRASE, TELLING, Practice

YES = {"sure": "yes"}
NOBODY = "99999999-9999-4999-8999-999999999999"


def owner(practice: Practice) -> TestClient:
    client = practice.desk("purser")
    client.follow_redirects = False
    return client


def address(practice: Practice, name: str, deed: str = "") -> str:
    return f"/owner/accounts/{practice.ids[name]}" + (f"/{deed}" if deed else "")


def link_of(answer: Any) -> str:
    """The secret of the link on a page."""
    assert answer.status_code == 200, answer.text
    (found,) = re.findall(r"http://testserver/join#([\w-]{40,})", answer.text)
    return str(found)


def roles_of(practice: Practice, name: str) -> set[str]:
    query = "SELECT role FROM account_role JOIN account ON account.id = account_id WHERE name = ?"
    return {role for (role,) in rows(practice, query, name)}


def test_signing_in_leads_an_owner_to_the_owners_page(practice: Practice) -> None:
    client = browser(practice)
    answer = client.post("/sign-in", data={"name": "purser", "passphrase": PASSPHRASE})
    assert (answer.status_code, answer.headers["location"]) == (303, "/owner")
    assert client.get("/").headers["location"] == "/owner"
    assert "Who works here" in client.get("/owner").text


def test_an_owner_who_opened_somebody_elses_link_is_led_on_too(practice: Practice) -> None:
    assert owner(practice).get("/?ready").headers["location"] == "/owner"


def test_somebody_without_a_page_is_told_that_the_sign_in_worked(practice: Practice) -> None:
    client = practice.desk("beacon")
    rows(practice, "DELETE FROM account_role WHERE account_id = ?", practice.ids["beacon"])
    shown = client.get("/").text
    assert "You are signed in" in shown
    assert 'action="/sign-in"' not in shown


def test_the_list_names_everybody_and_no_child(practice: Practice) -> None:
    practice.desk("ferry")
    shown = owner(practice).get("/owner").text
    for name in ("beacon", "ferry", "harbour", "lantern", "purser"):
        assert f'<a href="/owner/accounts/{practice.ids[name]}">{name}</a>' in shown
    (row,) = re.findall(r"<tr>\s*<th[^>]*><a[^>]*>ferry</a>.*?</tr>", shown, re.DOTALL)
    cells = re.findall(r"<td[^>]*>(.*?)</td>", row)
    assert cells == ["Assistant", "harbour", "off", "3 March 2026, 12:00"]
    assert "not known" in shown
    assert not [word for word in TELLING if word in shown.replace("3 March 2026", "")]


def test_an_invitation_is_shown_once_and_makes_the_account(practice: Practice) -> None:
    client = owner(practice)
    form = {"roles": ["assistant", "researcher"], "supervisor_id": practice.ids["harbour"]}
    answer = client.post("/owner/invitations", data=form)
    secret = link_of(answer)
    assert "10 March 2026, 12:00" in answer.text
    listed = client.get("/owner").text
    assert secret not in listed
    assert "New account: assistant and researcher, supervised by harbour" in listed
    assert use(practice, secret, "skiff").status_code == 201
    assert roles_of(practice, "skiff") == {"assistant", "researcher"}
    assert "used on 3 March 2026, 12:00" in client.get("/owner").text
    assert audited(practice, "invitation")[0][:2] == ("purser", "invited")


def test_an_invitation_that_is_sent_again_is_made_once_and_says_so(practice: Practice) -> None:
    client = owner(practice)
    (own,) = re.findall(r'name="form" value="([^"]+)"', client.get("/owner").text)
    form = {"roles": ["assistant"], "supervisor_id": practice.ids["harbour"], "form": own}
    secret = link_of(client.post("/owner/invitations", data=form))
    again = client.post("/owner/invitations", data=form)
    assert again.status_code == 409
    assert MADE_BEFORE in again.text
    assert rows(practice, "SELECT id FROM invitation") == [(own,)]
    assert len(audited(practice, "invitation")) == 1
    # The form stands there with what was chosen, and the next one is another invitation.
    assert 'value="assistant" checked' in again.text
    (fresh,) = re.findall(r'name="form" value="([^"]+)"', again.text)
    link_of(client.post("/owner/invitations", data=form | {"form": fresh}))
    assert {one for (one,) in rows(practice, "SELECT id FROM invitation")} == {own, fresh}
    # The link that was handed over still works.
    assert use(practice, secret, "skiff").status_code == 201


def test_an_invitation_without_a_role_is_shown_again_with_what_was_chosen(
    practice: Practice,
) -> None:
    answer = owner(practice).post(
        "/owner/invitations", data={"supervisor_id": practice.ids["harbour"]}
    )
    assert answer.status_code == 422
    assert NO_ROLE in answer.text
    assert f'<option value="{practice.ids["harbour"]}" selected>' in answer.text
    assert rows(practice, "SELECT count(*) FROM invitation") == [(0,)]


def test_a_supervisor_who_is_none_is_refused_beside_the_field(practice: Practice) -> None:
    form = {"roles": ["assistant"], "supervisor_id": practice.ids["ferry"]}
    answer = owner(practice).post("/owner/invitations", data=form)
    assert answer.status_code == 422
    assert 'id="supervisor-trouble"' in answer.text
    assert 'value="assistant" checked' in answer.text


def test_an_invitation_is_withdrawn_only_by_somebody_who_means_it(practice: Practice) -> None:
    client = owner(practice)
    secret = link_of(client.post("/owner/invitations", data={"roles": ["assistant"]}))
    ((one,),) = rows(practice, "SELECT id FROM invitation")
    unsure = client.post(f"/owner/invitations/{one}/withdraw")
    assert unsure.status_code == 422
    assert NOT_SURE in unsure.text
    assert client.post(f"/owner/invitations/{one}/withdraw", data=YES).status_code == 303
    assert use(practice, secret).status_code == 422
    assert client.post(f"/owner/invitations/{NOBODY}/withdraw", data=YES).status_code == 404


def test_a_used_invitation_cannot_be_withdrawn_and_the_page_says_so(practice: Practice) -> None:
    client = owner(practice)
    use(practice, link_of(client.post("/owner/invitations", data={"roles": ["assistant"]})))
    ((one,),) = rows(practice, "SELECT id FROM invitation")
    answer = client.post(f"/owner/invitations/{one}/withdraw", data=YES)
    assert answer.status_code == 409
    assert "This invitation was used already." in answer.text


def test_roles_and_supervisor_are_changed_by_the_form(practice: Practice) -> None:
    client = owner(practice)
    form = {"roles": ["assistant", "researcher"], "supervisor_id": practice.ids["harbour"]}
    answer = client.post(address(practice, "lantern", "change"), data=form)
    assert answer.status_code == 303
    assert roles_of(practice, "lantern") == {"assistant", "researcher"}
    shown = client.get(answer.headers["location"]).text
    assert "The account was changed." in shown
    assert "<dt>Supervisor</dt><dd>harbour</dd>" in shown


def test_a_role_is_taken_away_only_by_somebody_who_means_it(practice: Practice) -> None:
    client = owner(practice)
    form: dict[str, Any] = {"roles": ["owner"]}
    answer = client.post(address(practice, "beacon", "change"), data=form)
    assert answer.status_code == 422
    assert TAKES_AWAY in answer.text
    assert 'id="role-owner" name="roles" type="checkbox" value="owner" checked' in answer.text
    assert roles_of(practice, "beacon") == {"researcher"}
    answer = client.post(address(practice, "beacon", "change"), data=form | YES)
    assert answer.status_code == 303
    assert roles_of(practice, "beacon") == {"owner"}


def test_what_would_leave_children_alone_is_refused_in_the_page_and_undone(
    practice: Practice,
) -> None:
    client = owner(practice)
    for deed, form in (
        ("change", {"roles": ["researcher"]}),
        ("ending", {"closed": "yes"}),
    ):
        answer = client.post(address(practice, "lantern", deed), data=form | YES)
        assert answer.status_code == 409
        assert ORPHANS.format(count=1) in answer.text
    assert roles_of(practice, "lantern") == {"assistant"}
    assert is_in(practice.desk("lantern"))


def test_the_only_owner_stays(practice: Practice) -> None:
    client = owner(practice)
    for deed, form in (("change", {"roles": ["researcher"]}), ("ending", {"closed": "yes"})):
        answer = client.post(address(practice, "purser", deed), data=form | YES)
        assert answer.status_code == 409
        assert LAST_OWNER in answer.text
    assert is_in(client)


def test_an_owner_who_gives_the_role_away_is_led_to_the_start(practice: Practice) -> None:
    client = owner(practice)
    client.post(address(practice, "beacon", "change"), data={"roles": ["owner", "researcher"]})
    form = {"roles": ["researcher"]} | YES
    answer = client.post(address(practice, "purser", "change"), data=form)
    assert answer.headers["location"] == "/"
    assert client.get("/owner").status_code == 403


def test_a_link_for_a_new_passphrase_works_once_for_that_account(practice: Practice) -> None:
    client = owner(practice)
    assert client.post(address(practice, "ferry", "reset")).status_code == 422
    assert rows(practice, "SELECT count(*) FROM invitation") == [(0,)]
    secret = link_of(client.post(address(practice, "ferry", "reset"), data=YES))
    assert use(practice, secret, None).status_code == 200
    assert sign_in(practice, "ferry").status_code == 401
    assert audited(practice, "passphrase")[0] == ("purser", "invited", "ferry")


def test_signing_out_everywhere_ends_browsers_and_tablets(practice: Practice) -> None:
    desk, tablet, client = practice.desk("ferry"), practice.tablet(), owner(practice)
    assert client.post(address(practice, "ferry", "sign-out")).status_code == 422
    assert is_in(desk)
    answer = client.post(address(practice, "ferry", "sign-out"), data=YES)
    assert answer.status_code == 303
    assert not is_in(desk)
    assert tablet.get("/api/tablet/day").status_code == 401


def test_an_account_ends_and_is_opened_again(practice: Practice) -> None:
    client, desk = owner(practice), practice.desk("beacon")
    unsure = client.post(address(practice, "beacon", "ending"), data={"closed": "yes"})
    assert unsure.status_code == 422
    assert is_in(desk)
    answer = client.post(address(practice, "beacon", "ending"), data={"closed": "yes"} | YES)
    assert answer.status_code == 303
    assert not is_in(desk)
    shown = client.get(answer.headers["location"]).text
    assert "ended 3 March 2026, 12:00" in shown
    assert address(practice, "beacon", "reset") not in shown
    assert "Ended accounts" in client.get("/owner").text
    client.post(address(practice, "beacon", "ending"), data={"closed": "no"} | YES)
    assert sign_in(practice, "beacon").status_code == 200


def test_a_name_that_looks_like_markup_stays_a_name(practice: Practice) -> None:
    client = owner(practice)
    secret = link_of(client.post("/owner/invitations", data={"roles": ["researcher"]}))
    assert use(practice, secret, "<b>skiff</b>").status_code == 201
    shown = client.get("/owner").text
    assert "<b>skiff" not in shown
    assert "&lt;b&gt;skiff" in shown


@pytest.mark.parametrize("deed", ["", "change", "reset", "sign-out", "ending"])
def test_an_account_that_does_not_exist_is_not_found(practice: Practice, deed: str) -> None:
    client, path = owner(practice), f"/owner/accounts/{NOBODY}"
    form = {"roles": ["owner"], "closed": "yes"} | YES
    answer = client.post(f"{path}/{deed}", data=form) if deed else client.get(path)
    assert answer.status_code == 404


def test_a_form_of_another_site_is_refused(practice: Practice) -> None:
    client = owner(practice)
    answer = client.post(
        address(practice, "beacon", "ending"),
        data={"closed": "yes"} | YES,
        headers={"Origin": "http://elsewhere"},
    )
    assert answer.status_code == 403
    assert sign_in(practice, "beacon").status_code == 200
