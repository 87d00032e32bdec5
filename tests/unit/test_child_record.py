"""What the pages of a child and of a trial read of one child's record: once, and bounded."""

from collections.abc import Sequence
from typing import Any

import pytest

from server import beside_lines, store_results
from server.beside_lines import others_of
from server.deps import seen_trial
from server.store_accounts import account_by_name
from server.store_attempts import attempts_of_child
from server.store_trials import trials_of_child
from server.trial_readings import readings_from, readings_of
from tests.accounts import rows
from tests.practice import PLAN_WREN, Practice, drawn
from tests.unit.test_trial_facts import as_before, statements

OTHER_GUIDE = [[20.0, 60.0], [120.0, 60.0]]


def send(practice: Practice, *trees: dict[str, Any]) -> list[str]:
    tablet = practice.tablet()
    for tree in trees:
        answer = practice.send(tablet, tree)
        assert answer.status_code == 201, answer.text
    return [tree["trial_id"] for tree in trees]


def others(practice: Practice, trial_id: str) -> list[str]:
    with practice.app.state.sessions() as db:
        seen = seen_trial(db, account_by_name(db, "ferry"), trial_id)
        return [line.trial_id for line in others_of(db, seen)]


def of_records(said: Sequence[str]) -> list[str]:
    """Statements that read every trial, mark, void or result of a child."""
    return [one for one in said if "FROM trial JOIN session" in one]


@pytest.mark.parametrize("page", ["/children/{child}", "/children/{child}/then-and-now"])
def test_a_page_reads_the_trials_of_a_child_once(practice: Practice, page: str) -> None:
    send(practice, drawn(), drawn(beside_mm=2.0))
    address, ferry = page.format(child=practice.ids["Gull"]), practice.desk("ferry")
    ferry.get(address)
    with statements(practice) as said:
        assert ferry.get(address).status_code == 200
    mine = [one for one in of_records(said) if "session.child_id = ?" in one]
    assert len(mine) == 1
    assert sum("FROM result" in one and "result.facts" in one for one in said) == 1
    assert sum("FROM mark" in one for one in said) <= 1 + ("then-and-now" in page)


def test_the_offer_of_other_trials_reads_no_more_however_many_there_are(
    practice: Practice, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(beside_lines, "MOST_OTHERS", 3)
    ids = send(practice, *(drawn(beside_mm=1.0 + at / 4) for at in range(6)))
    with statements(practice) as said:
        assert others(practice, ids[2]) == [ids[5], ids[4], ids[3]]
    # The place of a trial in its session is told from ids alone.
    whole = [one for one in said if "trial.sha256" in one and "trial.id = ?" not in one]
    assert whole
    assert all("LIMIT" in one for one in whole)


def test_the_offer_leaves_out_other_guides_and_other_children(practice: Practice) -> None:
    tree = drawn()
    other = drawn()
    other["guide"] |= {"points_mm": OTHER_GUIDE}
    first, second, _ = send(practice, drawn(), tree, other)
    assert practice.send(practice.tablet("lantern"), drawn(plan_id=PLAN_WREN)).status_code == 201
    assert others(practice, first) == [second]


def test_a_trial_without_a_current_result_is_computed_and_offered(
    practice: Practice, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second, third = send(practice, drawn(), drawn(beside_mm=2.0), drawn(beside_mm=3.0))
    monkeypatch.setattr(store_results, "ANALYSIS_VERSION", "99.0.0")
    assert others(practice, first) == [third, second]
    kept = "SELECT count(*) FROM result WHERE trial_id = ?"
    assert rows(practice, kept, third) == [(2,)]


def test_a_trial_whose_facts_an_earlier_release_kept_is_offered(practice: Practice) -> None:
    first, second = send(practice, drawn(), drawn(beside_mm=2.0))
    as_before(practice)
    assert others(practice, first) == [second]


def test_series_are_the_same_whether_trials_were_read_before_or_not(practice: Practice) -> None:
    ids = send(practice, *(drawn(beside_mm=float(at)) for at in range(1, 5)))
    desk, name = practice.desk("ferry"), "deviation_mean_abs"
    spoilt = {"id": "4c9a2a52-5f0e-4b1e-9a57-3c2d6d1f7a11", "outcome": "spoilt", "why": "bell"}
    assert desk.post(f"/api/trials/{ids[0]}/marks", json=spoilt).status_code == 201
    void = {"id": "5c9a2a52-5f0e-4b1e-9a57-3c2d6d1f7a12", "voided": True, "reason": "a test line"}
    assert desk.post(f"/api/trials/{ids[3]}/voids", json=void).status_code == 201
    child = practice.ids["Gull"]
    with practice.app.state.sessions() as db:
        assert len(trials_of_child(db, child)) == 4
        fresh = list(readings_of(db, child, [name]))
        values = {one.trial_id: one.values for one in fresh}
        again = list(readings_from(attempts_of_child(db, child), values))
    assert [one.trial_id for one in fresh] == ids[1:3]
    assert again == fresh
