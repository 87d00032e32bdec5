"""The page of tablets: what is known of each, their names, ending one, the pairing code."""

import re
from typing import Any

import pytest
from fastapi.testclient import TestClient

from server.pairing import LETTERS
from server.store_plans import save_plan
from tests.accounts import audited, rows
from tests.practice import Practice, drawn, plan
from tests.problem_form import assert_problem

NOBODY = "00000000-0000-4000-8000-00000000dead"
CARD = {"id": "card-1", "px_per_mm": 5.214, "ratio": 2.0, "screen_mm": [216.0, 144.4]}


@pytest.fixture
def ferry(practice: Practice) -> TestClient:
    return practice.desk("ferry")


def paired(practice: Practice, name: str = "ferry", holding: TestClient | None = None) -> Any:
    """Pair a tablet as it is really done."""
    code = practice.desk(name).post("/api/pairing-codes").json()["code"]
    answer = (holding or practice.client).post("/api/pair", json={"code": code})
    assert answer.status_code == 200, answer.text
    return answer.json()


def html(client: TestClient, path: str = "/tablets") -> str:
    answer = client.get(path)
    assert answer.status_code == 200, answer.text
    return answer.text.partition('<main id="content"')[2]


def words(text: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text)).replace(" .", ".")


def block(client: TestClient, tablet_id: str) -> str:
    """The words on one tablet that is still paired."""
    found = html(client).partition(f'<section class="tablet" aria-labelledby="name-{tablet_id}">')
    assert found[2], "this tablet has no section"
    return words(found[2].partition("</section>")[0])


def rename(client: TestClient, tablet_id: str, label: str | None) -> Any:
    data = {} if label is None else {"label": label}
    return client.post(f"/tablets/{tablet_id}/name", data=data, follow_redirects=False)


def revoke(client: TestClient, tablet_id: str) -> Any:
    return client.post(f"/tablets/{tablet_id}/revoke", follow_redirects=False)


# What is known


def test_a_tablet_that_was_just_paired(practice: Practice, ferry: TestClient) -> None:
    told = block(ferry, paired(practice)["tablet_id"])
    assert "Tablet without a name" in told
    # [C] the practice's midnight comes before twelve hours are over
    assert "Paired with your day until midnight." in told
    assert "Last heard today at 12:00, when it was paired" in told
    assert "Last trial received none yet" in told
    assert "Not measured on this tablet yet." in told
    assert "is shown on the tablet itself" in words(html(ferry))


def test_pairing_lasts_twelve_hours_where_midnight_is_far(practice: Practice) -> None:
    practice.clock.move(hours=-10)
    ferry = practice.desk("ferry")
    assert "until 14:00 today." in block(ferry, paired(practice)["tablet_id"])  # [C] 2 + 12


def test_what_arrives_is_told_with_its_time(practice: Practice) -> None:
    mine = paired(practice)
    tablet = practice.holding(mine["token"])
    practice.clock.move(minutes=5)
    assert tablet.post("/api/tablet/calibrations", json=CARD).status_code == 201
    told = block(practice.desk("ferry"), mine["tablet_id"])
    assert "Last heard today at 12:05, when its scale arrived" in told
    assert "Measured today at 12:05: 5.21 pixels per mm, screen 216 × 144 mm." in told
    practice.clock.move(minutes=5)
    assert practice.send(tablet, drawn()).status_code == 201
    told = block(practice.desk("ferry"), mine["tablet_id"])
    assert "Last heard today at 12:10, when a trial arrived" in told
    assert "Last trial received today at 12:10" in told


def test_a_scale_is_told_by_the_day_it_was_measured_and_never_a_later_one(
    practice: Practice, ferry: TestClient
) -> None:
    mine = paired(practice)
    tablet = practice.holding(mine["token"])
    early = CARD | {"made_at": "2026-02-27T09:30:00Z"}
    assert tablet.post("/api/tablet/calibrations", json=early).status_code == 201
    told = block(ferry, mine["tablet_id"])
    assert "Measured 27 February 2026 at 09:30" in told
    assert "asks for a check" not in told
    # A clock that runs ahead.
    ahead = CARD | {"id": "card-2", "made_at": "2026-03-09T09:30:00Z"}
    assert tablet.post("/api/tablet/calibrations", json=ahead).status_code == 201
    assert "Measured today at 12:00" in block(ferry, mine["tablet_id"])


def test_a_scale_of_more_than_a_week_ago_says_what_is_not_known(practice: Practice) -> None:
    mine = paired(practice)
    practice.holding(mine["token"]).post("/api/tablet/calibrations", json=CARD)
    practice.clock.move(days=7)
    assert "asks for a check" not in block(practice.desk("ferry"), mine["tablet_id"])
    practice.clock.move(minutes=1)
    told = block(practice.desk("ferry"), mine["tablet_id"])
    assert "a check that found it true stays there" in told


def test_a_day_that_is_over_leaves_a_tablet_that_sends(practice: Practice) -> None:
    mine = paired(practice)
    practice.clock.move(days=1)
    told = block(practice.desk("ferry"), mine["tablet_id"])
    assert "Its day is over" in told
    assert "until 2 April 2026." in told  # [C] 30 days after 3 March
    practice.clock.move(days=29)
    text = html(practice.desk("ferry"))
    assert '<section class="tablet"' not in text
    assert "Not paired any more: it can neither fetch plans nor send." in words(text)
    assert "None of your tablets is paired now." in words(text)


def test_a_tablet_paired_anew_is_heard_of_anew(practice: Practice) -> None:
    mine = paired(practice)
    practice.clock.move(days=1)
    again = paired(practice, holding=practice.holding(mine["token"]))
    assert again["tablet_id"] == mine["tablet_id"]
    told = block(practice.desk("ferry"), mine["tablet_id"])
    assert "Paired with your day until midnight." in told
    assert "Last heard today at 12:00, when it was paired" in told


def test_those_whose_day_lasts_come_first(practice: Practice) -> None:
    old = paired(practice)
    practice.clock.move(days=1)
    new = paired(practice)
    found = re.findall(r'aria-labelledby="name-([^"]+)"', html(practice.desk("ferry")))
    assert found == [new["tablet_id"], old["tablet_id"]]


def test_only_tablets_of_one_s_own_are_shown(practice: Practice, ferry: TestClient) -> None:
    mine, other = paired(practice)["tablet_id"], paired(practice, "lantern")["tablet_id"]
    assert mine in html(ferry)
    assert other not in html(ferry)
    assert mine not in html(practice.desk("harbour"))
    assert "No tablet is paired with your day yet." in html(practice.desk("harbour"))


def test_plans_are_told_as_taken_only_when_they_were(practice: Practice, ferry: TestClient) -> None:
    mine = paired(practice)
    tablet = practice.holding(mine["token"])
    assert "One plan for today. No tablet of yours has taken it yet." in html(ferry)
    practice.clock.move(minutes=4)
    assert tablet.get("/api/tablet/day").status_code == 200
    ferry = practice.desk("ferry")
    assert "One plan for today, taken by a tablet of yours, the last today at 12:04." in html(ferry)
    # Another therapist's tablet says nothing of mine.
    assert "No tablet of yours has taken it yet." in html(practice.desk("harbour"))
    practice.clock.move(minutes=4)
    with practice.app.state.sessions() as db:
        save_plan(db, practice.ids["Gull session"], plan(), at=practice.clock.now)
        db.commit()
    assert "No tablet of yours has taken it yet." in html(practice.desk("ferry"))
    tablet.get("/api/tablet/day")
    assert "taken by a tablet of yours, the last today at 12:08." in html(practice.desk("ferry"))


# Names


def test_a_tablet_is_named_with_a_form(practice: Practice, ferry: TestClient) -> None:
    mine = paired(practice)["tablet_id"]
    answer = rename(ferry, mine, "  Blue <case> ")
    assert (answer.status_code, answer.headers["location"]) == (303, "/tablets")
    assert 'value="Blue &lt;case&gt;"' in html(ferry)
    assert rows(practice, "SELECT label FROM tablet") == [("Blue <case>",)]
    rename(ferry, mine, "Blue <case>")
    assert [one for one in audited(practice, "tablet") if one[1] == "named"] == [
        ("ferry", "named", mine)
    ]
    assert rename(ferry, mine, " ").status_code == 303
    assert rows(practice, "SELECT label FROM tablet") == [(None,)]
    assert "Tablet without a name" in html(ferry)


@pytest.mark.parametrize(
    ("label", "said"),
    [
        ("y" * 61, "This text may have at most 60 characters."),
        ("two\x07rings", "This text must not hold control characters."),
    ],
)
def test_a_name_that_does_not_fit_is_refused_beside_its_field(
    practice: Practice, ferry: TestClient, label: str, said: str
) -> None:
    first, second = (paired(practice)["tablet_id"] for _ in range(2))
    answer = rename(ferry, second, label)
    assert answer.status_code == 422
    form = answer.text.partition(f'action="/tablets/{second}/name"')[2].partition("</form>")[0]
    assert said in form
    assert f'value="{label}"' in form
    assert 'aria-invalid="true"' in form
    assert f'aria-describedby="trouble-{second} about-{second}"' in form
    other = answer.text.partition(f'action="/tablets/{first}/name"')[2].partition("</form>")[0]
    assert said not in other
    assert rows(practice, "SELECT DISTINCT label FROM tablet") == [(None,)]


def test_a_form_without_its_field_takes_the_name_away(
    practice: Practice, ferry: TestClient
) -> None:
    mine = paired(practice)["tablet_id"]
    rename(ferry, mine, "Blue")
    assert rename(ferry, mine, None).status_code == 303
    assert rows(practice, "SELECT label FROM tablet") == [(None,)]


# Revoking


def test_revoking_takes_two_steps_and_says_what_it_means(
    practice: Practice, ferry: TestClient
) -> None:
    mine = paired(practice)
    tablet, address = practice.holding(mine["token"]), f"/tablets/{mine['tablet_id']}/revoke"
    rename(ferry, mine["tablet_id"], "Blue case")
    assert f'href="{address}"' in html(ferry)
    asked = html(ferry, address)
    assert "End the pairing of Blue case?" in asked
    assert "What waits on it is kept there." in asked
    assert f'action="{address}"' in asked
    assert tablet.get("/api/tablet/day").status_code == 200
    answer = revoke(ferry, mine["tablet_id"])
    assert (answer.status_code, answer.headers["location"]) == (303, "/tablets")
    assert_problem(tablet.get("/api/tablet/day"), 401)
    assert_problem(practice.send(tablet, drawn()), 401)
    told = words(html(ferry))
    assert "Pairing ended, today at 12:00. It can neither fetch plans nor send." in told
    assert "goes out once the tablet is paired again." in told
    assert f'href="{address}"' not in html(ferry)
    assert "No pairing to end" in html(ferry, address)
    revoke(ferry, mine["tablet_id"])
    assert [one for one in audited(practice, "tablet") if one[1] == "revoked"] == [
        ("ferry", "revoked", mine["tablet_id"])
    ]


def test_revoking_leaves_the_pairing_of_somebody_else(practice: Practice) -> None:
    first = paired(practice)
    second = paired(practice, "lantern", practice.holding(first["token"]))
    assert second["tablet_id"] == first["tablet_id"]
    assert revoke(practice.desk("ferry"), first["tablet_id"]).status_code == 303
    assert practice.holding(second["token"]).get("/api/tablet/day").status_code == 200


def test_a_therapist_who_is_an_owner_too_ends_only_pairings_of_its_own_here(
    practice: Practice,
) -> None:
    rows(practice, "INSERT INTO account_role VALUES (?, 'owner')", practice.ids["ferry"])
    other = paired(practice, "lantern")
    ferry = practice.desk("ferry")
    assert other["tablet_id"] not in html(ferry)
    assert_problem(revoke(ferry, other["tablet_id"]), 404)
    assert practice.holding(other["token"]).get("/api/tablet/day").status_code == 200


@pytest.mark.parametrize("ending", ["name", "revoke"])
def test_nobody_else_reaches_a_tablet(practice: Practice, ending: str) -> None:
    mine = paired(practice)
    address = f"/tablets/{mine['tablet_id']}/{ending}"
    for name, status in (("lantern", 404), ("harbour", 404), ("beacon", 403), ("purser", 403)):
        assert_problem(practice.desk(name).post(address, data={"label": "Gull"}), status)
    out = practice.client.post(address, data={"label": "Gull"}, follow_redirects=False)
    led = f"/?next=/tablets/{mine['tablet_id']}/revoke" if ending == "revoke" else "/?next=/tablets"
    assert out.status_code == 401
    assert f'href="{led}"' in out.text
    assert "Gull" in out.text
    assert_problem(practice.desk("ferry").post(f"/tablets/{NOBODY}/{ending}"), 404)
    assert rows(practice, "SELECT label FROM tablet") == [(None,)]
    assert rows(practice, "SELECT revoked_at FROM token") == [(None,)]


def test_looking_at_tablets_is_noted(practice: Practice, ferry: TestClient) -> None:
    html(ferry)
    assert audited(practice, "tablets") == [("ferry", "saw", None)]


# The pairing code


def test_the_code_is_shown_once_with_its_square_and_its_words(
    practice: Practice, ferry: TestClient
) -> None:
    for path in ("/caseload", "/tablets"):
        assert 'action="/pairing-code"' in html(ferry, path)
    answer = ferry.post("/pairing-code")
    assert answer.status_code == 200
    code = re.findall(rf'<p class="code">([{LETTERS}]{{8}})</p>', answer.text)[0]
    assert "Works once, until 12:10." in answer.text
    assert 'src="data:image/svg+xml' in answer.text
    assert "http://testserver/tablet" in answer.text
    assert "only this machine knows" not in answer.text
    assert practice.client.post("/api/pair", json={"code": code}).status_code == 200


def test_a_page_opened_on_the_server_itself_says_that_others_cannot_find_it(
    practice: Practice, ferry: TestClient
) -> None:
    here = {"Host": "127.0.0.1:8737", "Origin": "http://127.0.0.1:8737"}
    assert "only this machine knows" in words(ferry.post("/pairing-code", headers=here).text)
