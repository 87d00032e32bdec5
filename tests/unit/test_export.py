"""What leaves for research: every number, and nothing that tells who a child is."""

import csv
import io
import json
import re
import sqlite3
from collections.abc import Iterable
from contextlib import closing
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest

from analysis.measures_midline import MIDDLE
from analysis.registry import MEASURES, column, measure
from server.dictionary import ColumnInfo
from server.export import columns_of
from server.export_csv import cell_text, csv_blocks
from server.page_export import left_out_words
from server.store_sessions import create_session, save_plan
from tests.practice import TELLING, TODAY, Practice, drawn, plan

TABLES = ("trials", "measures", "series", "children")
DATE = re.compile(r"\b(19|20)\d\d-\d\d(-\d\d)?\b")
UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}", re.IGNORECASE)


def table(practice: Practice, name: str) -> tuple[str, list[dict[str, str]]]:
    answer = practice.desk("beacon").get(f"/api/export/{name}.csv")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/csv; charset=utf-8; header=present"
    assert answer.headers["content-disposition"] == f'attachment; filename="linnet-{name}.csv"'
    text = answer.content.decode("utf-8")
    return text, list(csv.DictReader(io.StringIO(text, newline="")))


@pytest.fixture
def six_weeks(practice: Practice) -> Practice:
    """Trials of two sessions, 42 days apart, one of them marked; the families agreed."""
    practice.agree("research", "Gull", "Wren")
    with practice.app.state.sessions() as db:
        session = create_session(
            db,
            child_id=practice.ids["Gull"],
            day=TODAY - timedelta(days=42),
            place="Tidewell School",
            plan_id="00000000-0000-4000-8000-000000000003",
        )
        save_plan(db, session.id, plan())
        db.commit()
    tablet = practice.tablet()
    early = drawn(beside_mm=-2.0, plan_id="00000000-0000-4000-8000-000000000003")
    late = drawn(beside_mm=0.5, note="Gull was tired at Tidewell")
    nothing = drawn()
    for name in nothing["samples"]:
        nothing["samples"][name] = []
    for tree in (late, early, nothing):
        assert practice.send(tablet, tree).status_code == 201
    mark = {
        "id": "22222222-2222-4222-8222-222222222222",
        "outcome": "spoilt",
        "why": "Wren touched the screen",
        "hand_used": "left",
        "help": {"cues": {"gesture": 1}},
    }
    assert tablet.post(f"/api/trials/{late['trial_id']}/marks", json=mark).status_code == 201
    return practice


def test_a_trial_is_a_row_with_every_measure_of_the_registry(six_weeks: Practice) -> None:
    text, rows = table(six_weeks, "trials")
    assert len(rows) == 3
    header = text.split("\r\n", 1)[0].split(",")
    for entry in MEASURES:
        if entry.scope == "trial":
            assert column(entry) in header
    assert len(header) == len(set(header))
    early, late, _ = rows
    # [C] lines shifted by 2 mm to the right and by 0.5 mm to the left
    assert float(early["deviation_bias_mm"]) == pytest.approx(-2.0, abs=1e-6)
    assert float(late["deviation_mean_abs_mm"]) == pytest.approx(0.5, abs=1e-6)
    assert early["deviation_bias_mm"].startswith("-2")
    assert (early["day_offset"], late["day_offset"]) == ("0", "42")
    assert (late["outcome"], late["hand_used"], late["helped"]) == ("spoilt", "left", "true")
    assert (early["outcome"], early["helped"], early["calibrated"]) == ("", "", "true")


def test_a_refused_measure_is_an_empty_cell_with_its_reason(six_weeks: Practice) -> None:
    _, rows = table(six_weeks, "trials")
    nothing = rows[2]
    assert nothing["deviation_mean_abs_mm"] == ""
    assert "deviation_mean_abs=no_samples" in nothing["refused"].split()
    _, values = table(six_weeks, "measures")
    mine = [
        one
        for one in values
        if one["trial_key"] == nothing["trial_key"] and one["measure"] == "deviation_mean_abs"
    ]
    assert [(one["value"], one["unit"], one["reason"]) for one in mine] == [
        ("", "mm", "no_samples")
    ]


def test_both_tables_say_the_same(six_weeks: Practice) -> None:
    _, rows = table(six_weeks, "trials")
    _, values = table(six_weeks, "measures")
    by_trial = {row["trial_key"]: row for row in rows}
    columns = {entry.id: column(entry) for entry in MEASURES}
    assert len(values) > 100
    for one in values:
        assert by_trial[one["trial_key"]][columns[one["measure"]]] == one["value"]
        assert (one["value"] == "") == (one["reason"] != "")


def test_a_child_is_a_code_an_age_band_and_counts(six_weeks: Practice) -> None:
    _, rows = table(six_weeks, "children")
    (child,) = rows
    assert child["age_band_years"] == "6"  # [C] June 2019 to January 2026
    assert (child["sessions"], child["trials"]) == ("2", "3")
    assert child["preferred_hand"] == "right"
    assert re.fullmatch(r"s[0-9a-f]{10}", child["study_code"])
    _, trials = table(six_weeks, "trials")
    assert {row["study_code"] for row in trials} == {child["study_code"]}


@pytest.fixture
def approaching(practice: Practice) -> Practice:
    """Two trials in each of five sessions a week apart, each week half a millimetre nearer."""
    practice.agree("research", "Gull")
    tablet = practice.tablet()
    for week in range(5):
        with practice.app.state.sessions() as db:
            session = create_session(
                db,
                child_id=practice.ids["Gull"],
                day=TODAY - timedelta(weeks=5 - week),
                plan_id=(plan_id := str(uuid4())),
            )
            save_plan(db, session.id, plan())
            db.commit()
        for apart_mm in (0.0, 0.1 * week):
            tree = drawn(beside_mm=3.0 - 0.5 * week + apart_mm, plan_id=plan_id)
            assert practice.send(tablet, tree).status_code == 201
    return practice


def test_a_series_is_a_row_with_every_measure_of_a_series(approaching: Practice) -> None:
    text, rows = table(approaching, "series")
    header = text.split("\r\n", 1)[0].split(",")
    for entry in MEASURES:
        if entry.scope == "series":
            assert column(entry) in header
            ends = {f"{column(entry)}_low", f"{column(entry)}_high"}
            assert (ends & set(header) == ends) == entry.interval
    assert len(header) == len(set(header))
    names = [row["measure"] for row in rows]
    # Measures of the midline are a series of their own: another midline is another series.
    trial = [entry for entry in MEASURES if entry.scope == "trial" and entry.id in names]
    apart = sorted(trial, key=lambda entry: entry.family == MIDDLE)
    assert names == [entry.id for entry in apart]
    assert len(names) > 30
    row = rows[names.index("deviation_mean_abs")]
    assert (row["unit"], row["mode"], row["hand"], row["tool"]) == ("mm", "trace", "left", "stylus")
    assert (row["travelled"], row["half_width_mm"]) == ("left_to_right", "4.0")
    assert (row["calibration"], row["midline_offset_mm"]) == ("1", "")
    assert (row["sessions"], row["trials"]) == ("5", "10")
    assert (row["first_day_offset"], row["last_day_offset"]) == ("0", "28")
    # [C] medians 3, 2.55, 2.1, 1.65, 1.2 mm
    assert float(row["trend_slope_per_week"]) == pytest.approx(-0.45, abs=1e-6)
    assert float(row["trend_slope_per_week_low"]) == pytest.approx(-0.45, abs=1e-6)
    assert float(row["trend_test"]) == pytest.approx(2 / 120)  # [C] falling: 2 of 5! orders
    # [C] differences 0, 0.1, 0.2, 0.3, 0.4: SD sqrt 0.025
    error = (0.025 / 2) ** 0.5
    assert float(row["standard_error_of_measurement"]) == pytest.approx(error, abs=1e-6)
    change = float(row["minimal_detectable_change_95"])
    assert change == pytest.approx(1.96 * 0.025**0.5, abs=1e-6)
    # [C] 1.8 mm nearer; nearer is better
    assert float(row["reliable_change_index"]) == pytest.approx(1.8 / 0.025**0.5, rel=1e-5)
    reasons = dict(one.split("=") for one in row["refused"].split())
    assert reasons["nonoverlap_all_pairs"] == "too_few_sessions"
    assert reasons["hand_effect"] == "too_few_trials"
    assert row["nonoverlap_all_pairs"] == row["hand_effect"] == row["hand_effect_low"] == ""


def test_a_spoilt_trial_is_in_no_series(six_weeks: Practice) -> None:
    _, rows = table(six_weeks, "series")
    (row,) = [one for one in rows if one["measure"] == "deviation_mean_abs"]
    assert (row["sessions"], row["trials"]) == ("1", "1")
    assert (row["first_day_offset"], row["last_day_offset"]) == ("0", "0")
    assert "trend_slope=too_few_sessions" in row["refused"].split()


def test_a_measure_of_the_midline_says_where_that_was(six_weeks: Practice) -> None:
    _, rows = table(six_weeks, "series")
    for row in rows:
        about_it = measure(row["measure"]).family == MIDDLE
        # [C] guide from x = 20, midline at 100
        assert row["midline_offset_mm"] == ("80.0" if about_it else "")
    assert "midline_crossings" in {row["measure"] for row in rows}


@pytest.mark.parametrize("name", TABLES)
def test_nothing_in_a_table_tells_who_a_child_is(six_weeks: Practice, name: str) -> None:
    text, rows = table(six_weeks, name)
    assert rows
    for word in TELLING:
        assert word not in text
    assert not DATE.search(text)
    assert not UUID.search(text)
    for secret in every_id(six_weeks):
        assert secret not in text


def every_id(practice: Practice) -> Iterable[str]:
    """Every id, hash, name and label that the database holds, less what is meant to leave."""
    queries = (
        "SELECT id FROM trial",
        "SELECT sha256 FROM trial",
        "SELECT id FROM session",
        "SELECT plan_id FROM session",
        "SELECT place FROM session",
        "SELECT id FROM child",
        "SELECT sign FROM child",
        "SELECT id FROM account",
        "SELECT name FROM account",
        "SELECT id FROM tablet",
        "SELECT why FROM mark",
    )
    with closing(sqlite3.connect(practice.path)) as connection:
        for query in queries:
            found = [one for (one,) in connection.execute(query) if one]
            assert found, query
            yield from found
    yield from ("calibration-1", "tablet-1")


def test_lines_end_with_crlf_and_hold_as_many_cells_as_the_header(six_weeks: Practice) -> None:
    for name in (*TABLES, "dictionary"):
        text, _ = table(six_weeks, name)
        assert text.endswith("\r\n")
        assert "\n" not in text.replace("\r\n", "")
        records = list(csv.reader(io.StringIO(text, newline=""), strict=True))
        assert {len(record) for record in records} == {len(columns_of(name))}


def test_the_dictionary_explains_every_column_of_every_table(six_weeks: Practice) -> None:
    _, explained = table(six_weeks, "dictionary")
    for name in TABLES:
        text, _ = table(six_weeks, name)
        header = text.split("\r\n", 1)[0].split(",")
        mine = [one for one in explained if one["table"] == f"{name}.csv"]
        assert [one["column"] for one in mine] == header
        assert all(one["meaning"] and one["type"] and one["source"] for one in mine)


@pytest.mark.parametrize("start", list("=+-@\t\r"))
def test_text_that_looks_like_a_formula_is_guarded_and_a_number_is_not(start: str) -> None:
    assert cell_text(f"{start}1", "string") == f"'{start}1"
    assert cell_text(-1.5, "number") == "-1.5"
    assert cell_text("plain = text", "string") == "plain = text"


def test_cells_survive_commas_quotes_and_line_ends() -> None:
    columns = [ColumnInfo("a", "string", "", "", "", ""), ColumnInfo("b", "number", "", "", "", "")]
    rows: list[dict[str, Any]] = [{"a": 'x, "y"\r\nz', "b": -0.25}, {"a": None, "b": None}]
    text = "".join(csv_blocks(columns, rows))
    assert text == 'a,b\r\n"x, ""y""\r\nz",-0.25\r\n,\r\n'  # [P] RFC 4180, 2.5 to 2.7


def test_a_row_that_lacks_a_column_is_a_fault() -> None:
    with pytest.raises(KeyError):
        list(csv_blocks(columns_of("children"), [{"study_code": "s1"}]))


def test_what_a_task_was_called_by_the_practice_does_not_leave(practice: Practice) -> None:
    ours, own = drawn(), drawn()
    own["task"] |= {"name": "Gull's own line", "task_id": "Gull-line"}
    practice.agree("research", "Gull")
    tablet = practice.tablet()
    for tree in (ours, own):
        assert practice.send(tablet, tree).status_code == 201
    text, rows = table(practice, "trials")
    assert "Gull" not in text
    assert [row["task_id"] for row in rows] == ["quay-edge", ""]


# Who is in the tables


def test_without_a_consent_in_force_a_child_is_in_no_table(practice: Practice) -> None:
    practice.send(practice.tablet("ferry"), drawn())
    practice.agree("measuring", "Gull")
    for name in TABLES:
        assert table(practice, name)[1] == []
    practice.agree("research", "Gull")
    for name in ("trials", "children"):
        assert len(table(practice, name)[1]) == 1
    child = f"/api/children/{practice.ids['Gull']}/consents"
    ferry = practice.desk("ferry")
    (consent,) = [
        one for one in ferry.get(child).json()["consents"] if one["purpose"] == "research"
    ]
    away = ferry.post(f"{child}/{consent['consent_id']}/withdraw", json={"on": TODAY.isoformat()})
    assert away.status_code == 200
    for name in TABLES:
        assert table(practice, name)[1] == []


def test_what_left_and_what_was_left_out_is_noted(practice: Practice) -> None:
    practice.agree("research", "Gull")
    tablet, voided = practice.tablet(), drawn()
    for tree in (drawn(), voided):
        practice.send(tablet, tree)
    void = {
        "id": "44444444-4444-4444-8444-444444444444",
        "voided": True,
        "reason": "The tablet was being tried out.",
    }
    ferry = practice.desk("ferry")
    assert ferry.post(f"/api/trials/{voided['trial_id']}/voids", json=void).status_code == 201
    assert len(table(practice, "trials")[1]) == 1
    with closing(sqlite3.connect(practice.path)) as connection:
        runs = connection.execute(
            "SELECT account_id, table_name, rows, left_out FROM export_run"
        ).fetchall()
    (run,) = runs
    assert run[:3] == (practice.ids["beacon"], "trials", 1)
    assert json.loads(run[3]) == {
        "children_without_consent": 1,
        "trials_voided": 1,
        "cuts_and_entries": 0,
    }
    page = practice.desk("beacon").get("/export").text
    assert "One child is left out: no consent to research is noted and in force." in page
    assert "One trial is left out: it is voided." in page


def test_what_is_left_out_is_said_of_one_and_of_many() -> None:
    counts = {"children_without_consent": 2, "trials_voided": 9, "cuts_and_entries": 1}
    assert left_out_words(counts) == [
        "Two children are left out: no consent to research is noted and in force.",
        "Nine trials are left out: they are voided.",
        "One cut or entry is left out: the tables hold trials drawn on a tablet only.",
    ]
    assert left_out_words(dict.fromkeys(counts, 0)) == []
