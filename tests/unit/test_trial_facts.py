"""Lists and series: from facts and values, not from whole reports, whoever kept them."""

import csv
import io
import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from typing import Any

import pytest
from sqlalchemy import event

from server.store_results import facts_with
from server.store_trials import results_of, trials_of_child
from server.trial_lines import trial_lines
from server.trial_readings import readings_of
from tests.practice import Practice, drawn
from tests.problem_form import assert_problem

NEW = (
    "guide_id",
    "path_id",
    "travelled",
    "half_width_mm",
    "scores",
    "criterion",
    "calibrated",
    "flags",
    "hand_used",
)
NAMES = ["deviation_mean_abs", "completion", "midline_reach"]


@contextmanager
def statements(practice: Practice) -> Iterator[list[str]]:
    """What is asked of the database meanwhile."""
    said: list[str] = []

    def note(_c: Any, _cursor: Any, statement: str, *_more: Any) -> None:
        said.append(statement)

    engine = practice.app.state.engine
    event.listen(engine, "before_cursor_execute", note)
    try:
        yield said
    finally:
        event.remove(engine, "before_cursor_execute", note)


def send(practice: Practice, count: int) -> list[str]:
    tablet, trees = practice.tablet(), [drawn(beside_mm=1.0 + at) for at in range(count)]
    for tree in trees:
        assert practice.send(tablet, tree).status_code == 201
    return [tree["trial_id"] for tree in trees]


def as_before(practice: Practice) -> None:
    """Leave of all facts what release 0.2.0 kept."""
    with closing(sqlite3.connect(practice.path)) as bare, bare:
        kept = bare.execute("SELECT id, facts FROM result").fetchall()
        bare.execute("DROP TRIGGER result_never_updated")
        for number, text in kept:
            facts = {name: one for name, one in json.loads(text).items() if name not in NEW}
            bare.execute("UPDATE result SET facts = ? WHERE id = ?", (json.dumps(facts), number))


def told(practice: Practice) -> tuple[list[Any], list[dict[str, Any]]]:
    gull = practice.ids["Gull"]
    with practice.app.state.sessions() as db:
        lines = trial_lines(db, trials_of_child(db, gull))
        return list(readings_of(db, gull, NAMES)), lines


def test_a_line_says_what_the_report_says(practice: Practice) -> None:
    (trial_id,) = send(practice, 1)
    report = practice.desk("ferry").get(f"/api/trials/{trial_id}/report").json()
    _, (line,) = told(practice)
    for name in ("guide_id", "path_id", "travelled", "half_width_mm", "scores", "criterion"):
        assert line[name] == report[name]
    assert line["flags"] == report["quality"]["flags"]
    assert line["calibrated"] == report["quality"]["calibrated"]
    assert (line["day"], line["outcome"], line["voided"]) == ("2026-03-03", None, False)


def test_values_are_those_of_the_report(practice: Practice) -> None:
    (trial_id,) = send(practice, 1)
    report = practice.desk("ferry").get(f"/api/trials/{trial_id}/report").json()
    ((reading,), _) = told(practice)
    for name, value in reading.values.items():
        assert value == report["measures"][name]["value"]
    assert set(reading.values) == {
        name for name in NAMES if report["measures"].get(name, {}).get("value") is not None
    }


def test_facts_of_an_earlier_release_are_completed_from_their_reports(practice: Practice) -> None:
    send(practice, 3)
    before = told(practice)
    as_before(practice)
    with practice.app.state.sessions() as db:
        found = results_of(db, trials_of_child(db, practice.ids["Gull"]), reports=False)
        assert all("scores" not in result.facts for _, result in found)
    with statements(practice) as said:
        assert told(practice) == before
    # One more statement for all of them, not one each.
    assert sum("result.report" in one for one in said) == 2
    page = practice.desk("ferry").get(f"/children/{practice.ids['Gull']}")
    assert page.status_code == 200


def test_neither_list_nor_series_reads_a_report_or_a_record(practice: Practice) -> None:
    send(practice, 3)
    with statements(practice) as said:
        told(practice)
    assert said
    assert not any("result.report" in one or "trial.raw" in one for one in said)


def test_the_number_of_statements_does_not_grow_with_trials(practice: Practice) -> None:
    send(practice, 1)
    with statements(practice) as few:
        told(practice)
    send(practice, 6)
    with statements(practice) as many:
        told(practice)
    assert len(many) == len(few)


def test_the_caseload_asks_as_much_however_many_trials_there_are(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    # The first look is noted in the audit, those soon after it are not.
    ferry.get("/caseload")
    with statements(practice) as few:
        ferry.get("/caseload")
    send(practice, 5)
    with statements(practice) as many:
        ferry.get("/caseload")
    assert len(many) == len(few)
    assert not any("trial.id," in one for one in many)


def test_a_result_that_cannot_be_kept_has_its_values_all_the_same(
    practice: Practice, monkeypatch: pytest.MonkeyPatch
) -> None:
    send(practice, 1)
    ((before,), _) = told(practice)
    with closing(sqlite3.connect(practice.path)) as bare, bare:
        bare.execute("DELETE FROM measure_value")
        bare.execute("DELETE FROM result")
    monkeypatch.setattr("server.store_trials.keep", lambda _db, result: result)
    ((reading,), _) = told(practice)
    assert reading == before
    with practice.app.state.sessions() as db:
        ((_, result),) = results_of(db, trials_of_child(db, practice.ids["Gull"]))
        assert facts_with(result) is result.facts


def lying(**lay: Any) -> dict[str, Any]:
    tree = drawn()
    return tree | {"condition": tree["condition"] | lay}


def test_how_the_tablet_lay_is_told_and_exported(practice: Practice) -> None:
    practice.agree("research", "Gull")
    lay = {"tablet_at": "left", "surface": "sloped"}
    tree, tablet = lying(**lay), practice.tablet()
    assert practice.send(tablet, tree).status_code == 201
    (trial_id,) = send(practice, 1)
    _, lines = told(practice)
    ferry = practice.desk("ferry")
    for line, wanted in zip(lines, (lay, dict.fromkeys(lay)), strict=True):
        assert {name: line[name] for name in lay} == wanted
        about = ferry.get(f"/api/trials/{line['trial_id']}").json()
        assert {name: about[name] for name in lay} == wanted
    assert lines[1]["trial_id"] == trial_id
    page = ferry.get(f"/trials/{tree['trial_id']}").text.replace("\u00a0", " ")
    assert "tablet to the left" in page
    assert "sloped surface" in page
    table = practice.desk("beacon").get("/api/export/trials.csv").text
    exported = [(row["tablet_at"], row["surface"]) for row in csv.DictReader(io.StringIO(table))]
    assert exported == [("left", "sloped"), ("", "")]


@pytest.mark.parametrize("name", ["tablet_at", "surface"])
@pytest.mark.parametrize("value", ["On the floor", 5, "", "x" * 41, ["left"]])
def test_how_the_tablet_lay_is_one_word(practice: Practice, name: str, value: Any) -> None:
    answer = practice.send(practice.tablet(), lying(**{name: value}))
    assert_problem(answer, 422, f"/condition/{name}")


def test_facts_kept_before_tablets_said_how_they_lay_say_that_nobody_did(
    practice: Practice,
) -> None:
    practice.agree("research", "Gull")
    send(practice, 1)
    with closing(sqlite3.connect(practice.path)) as bare, bare:
        ((number, text),) = bare.execute("SELECT id, facts FROM result").fetchall()
        bare.execute("DROP TRIGGER result_never_updated")
        facts = json.loads(text)
        del facts["tablet_at"], facts["surface"]
        bare.execute("UPDATE result SET facts = ? WHERE id = ?", (json.dumps(facts), number))
    _, (line,) = told(practice)
    assert (line["tablet_at"], line["surface"]) == (None, None)
    table = practice.desk("beacon").get("/api/export/trials.csv")
    (row,) = csv.DictReader(io.StringIO(table.text))
    assert (row["tablet_at"], row["surface"]) == ("", "")
