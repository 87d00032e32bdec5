"""Two trials of a path beside each other: which may be, and what is said of them."""

import html
import re
from typing import Any
from uuid import uuid4

import pytest

from analysis.workings import Workings
from server.documents import read_trial
from server.figures_beside import shift_mm
from tests.accounts import audited, rows
from tests.practice import PLAN_WREN, Practice, drawn, raw_of

PAGE = {"Accept": "text/html"}


def sent(practice: Practice, **more: Any) -> str:
    """A new trial of Gull; returns its id."""
    tree = drawn(**more)
    answer = practice.send(practice.tablet(), tree)
    assert answer.status_code == 201, answer.text
    return str(tree["trial_id"])


def plain(page: str) -> str:
    text = html.unescape(re.sub(r"<[^>]*>", " ", page)).replace("\N{NO-BREAK SPACE}", " ")
    return re.sub(r"\s+", " ", text)


def test_two_trials_of_a_path_are_drawn_together_and_their_numbers_stand_side_by_side(
    practice: Practice,
) -> None:
    one, other = sent(practice, beside_mm=1.0), sent(practice, beside_mm=3.0)
    ferry = practice.desk("ferry")
    answer = ferry.get(f"/trials/{one}/beside/{other}")
    assert answer.status_code == 200
    row = re.search(r"<tr><th scope=\"row\">Mean distance from the line</th>.*?</tr>", answer.text)
    assert row is not None
    assert re.findall(r"[\d.]+ mm", plain(row.group())) == ["1.0 mm", "3.0 mm"]  # [C]
    assert not re.search(r"better|worse|improv|progress", plain(answer.text), re.IGNORECASE)
    for size in ("wide", "narrow"):
        picture = ferry.get(f"/trials/{one}/beside/{other}/{size}.svg")
        assert picture.headers["content-type"] == "image/svg+xml"
        assert b'id="line_A"' in picture.content
        assert b'id="line_B"' in picture.content


def test_both_trials_are_noted_as_looked_at(practice: Practice) -> None:
    one, other = sent(practice), sent(practice, beside_mm=3.0)
    practice.desk("ferry").get(f"/trials/{one}/beside/{other}")
    looked = {
        thing for who, verb, thing in audited(practice, "trial") if (who, verb) == ("ferry", "saw")
    }
    assert looked == {one, other}


def test_what_was_different_is_said_and_a_series_is_not_claimed(practice: Practice) -> None:
    one = sent(practice)
    condition = drawn()["condition"] | {"hand": "right"}
    other = sent(practice, condition=condition)
    page = plain(practice.desk("ferry").get(f"/trials/{one}/beside/{other}").text)
    assert "Not one series: hand differs. Read them beside each other, not as a change." in page
    assert "Hand left hand right hand" in page
    same = sent(practice)
    again = plain(practice.desk("ferry").get(f"/trials/{one}/beside/{same}").text)
    assert "Not one series" not in again


def test_another_child_another_guide_and_the_same_trial_are_not_laid_beside(
    practice: Practice,
) -> None:
    harbour = practice.desk("harbour")
    one = sent(practice)
    wren = drawn(plan_id=PLAN_WREN)
    assert practice.send(practice.tablet("lantern"), wren).status_code == 201
    ids = practice.ids
    query = "INSERT INTO care_link (account_id, child_id, from_day) VALUES (?, ?, '2026-01-01')"
    rows(practice, query, ids["harbour"], ids["Wren"])
    assert harbour.get(f"/trials/{wren['trial_id']}").status_code == 200
    for other in (wren["trial_id"], str(uuid4()), one):
        assert harbour.get(f"/trials/{one}/beside/{other}").status_code == 404
        assert harbour.get(f"/trials/{one}/beside/{other}/wide.svg").status_code == 404
    wider = drawn()
    wider["guide"] = wider["guide"] | {"corridor_mm": 24.0}
    assert practice.send(practice.tablet(), wider).status_code == 201
    answer = harbour.get(f"/trials/{one}/beside/{wider['trial_id']}", headers=PAGE)
    assert answer.status_code == 404
    assert "not of the same path" in plain(answer.text)


def test_the_chooser_offers_the_latest_twenty_of_the_path_and_says_which_do_not_count(
    practice: Practice,
) -> None:
    tablet = practice.tablet()
    trees = [drawn(beside_mm=k / 10, seq=k) for k in range(22)]
    for tree in trees:
        assert practice.send(tablet, tree).status_code == 201
    ids = [tree["trial_id"] for tree in trees]
    ferry = practice.desk("ferry")
    mark = {"id": str(uuid4()), "outcome": "stopped", "why": "bell"}
    assert ferry.post(f"/api/trials/{ids[20]}/marks", json=mark).status_code == 201
    page = ferry.get(f"/trials/{ids[21]}").text
    offered = re.findall(rf'href="/trials/{ids[21]}/beside/([0-9a-f-]+)"', page)
    assert offered == ids[20:0:-1]
    assert len(offered) == 20
    line = next(line for line in page.splitlines() if f"/beside/{ids[20]}" in line)
    assert "3 March 2026, trial 21 of 22: left hand, left to right stopped" in plain(line)


def test_a_guide_that_lay_elsewhere_is_laid_on_the_other() -> None:
    here, there = drawn(), drawn()
    there["guide"]["points_mm"] = [[x + 5.0, y + 7.0] for x, y in there["guide"]["points_mm"]]
    one, other = (Workings(read_trial(raw_of(tree)).to_trial()) for tree in (here, there))
    assert shift_mm(one, other) == pytest.approx([-5.0, -7.0])  # [C]
