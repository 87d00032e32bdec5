"""The benchmark of the record runs, and what it measures is what it says."""

from pathlib import Path

import pytest

from tests.benchmarks.record_filling import (
    CASELOAD,
    OWN_TRIALS,
    SESSIONS,
    SUPERVISOR,
    TRIALS,
    fill,
)
from tests.benchmarks.record_notes import MARKED_AGAIN
from tests.benchmarks.record_size import (
    ABOVE,
    ADDRESSES,
    MOST_RATIO,
    OF_SUPERVISOR,
    TREND,
    desk,
    one_child,
    ratios,
)

LEAST, MORE = OWN_TRIALS, 4 * OWN_TRIALS


@pytest.mark.slow
def test_a_small_record_is_filled_and_measured(tmp_path: Path) -> None:
    said: list[str] = []
    found = ratios(tmp_path, LEAST, MORE, 9, said.append)
    one_child(tmp_path, (2, 6), 3, said.append)
    print("\n".join(said))
    asked = {*ADDRESSES, *(f"{one}{ABOVE}" for one in OF_SUPERVISOR)}
    assert set(found) == asked
    assert max(found.values()) < MOST_RATIO
    assert len(said) == len(asked) + 4


@pytest.mark.slow
def test_the_measured_account_has_all_its_children_and_trials(tmp_path: Path) -> None:
    path = tmp_path / "record.sqlite3"
    children = fill(path, LEAST)
    with desk(path, children) as (client, _):
        listed = client.get("/api/children").json()["children"]
        assert {one["child_id"] for one in listed} == set(children)
        assert len(children) == CASELOAD
        series = client.get(TREND.format(child=children[0])).json()["series"]
        points = [point for one in series for point in one["points"]]
        assert sum(point["n"] for point in points) == SESSIONS * TRIALS
        assert {one["hand"] for one in series} == {"left", "right"}
        assert "5 of 3 trials in" in client.get("/caseload").text
    with desk(path, children, SUPERVISOR) as (client, _):
        queue = client.get("/queue").text
        # [C] 14 children, a session a week, three weeks; what is of today has no note yet.
        waiting = queue.count("written by ferry")
        assert waiting == 3 * CASELOAD
        assert queue.count("Changed since it was signed: one trial.") == -(-waiting // MARKED_AGAIN)
