"""Entry documents: what is refused, where and with which words, and what is said of them."""

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from typer.testing import CliRunner

from analysis.registry import MEASURES
from server.cli import app
from server.documents import schemas
from server.entries import ENTRY_FLAGS, EntryDocument, read_entry, report_entry
from server.faults import BadDocument
from server.guides import GuideFields
from server.inputs import read_input, score_input
from server.sentences_entries import entry_sentences
from tests.documents import SECRET, Case, as_bytes, assert_refused, sound
from tests.entry_documents import CASES, ENTRY_ID, criterion, less, put, sound_entry


def told(tree: dict[str, Any]) -> dict[str, Any]:
    return report_entry(read_entry(as_bytes(tree)))


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_malformed_entry_is_refused_with_status_path_and_a_sentence(case: Case) -> None:
    assert_refused(case, read_entry, sound_entry)


def test_the_table_holds_at_least_forty_kinds_and_names_each_once() -> None:
    assert len(CASES) >= 40
    assert len({case.name for case in CASES}) == len(CASES)


def test_the_report_says_what_was_entered_as_it_was_entered() -> None:
    report = told(sound_entry())
    assert report["entry_id"] == ENTRY_ID
    assert report["entered"] == {
        "counts": {"dots": 10, "hits": 8},
        "largest_stray_mm": 3.5,
        "duration_s": 42.5,
        "corridor_mm": 12.7,
    }
    assert report["quality"]["flags"] == ["entered"]
    # [C] 8 of at least 8
    assert report["criterion"] == {"count": "hits", "entered": None, "met": True, "value": 8}


def test_nothing_of_the_registry_is_computed_from_an_entry() -> None:
    report = told(sound_entry() | {"counts": {"snip_count": 4, "pause_count": 2}})
    assert report["measures"] == {}
    assert not {entry.id for entry in MEASURES} & {"largest_stray_mm", "entered"}


@pytest.mark.parametrize(
    ("asked", "met"),
    [
        ({"count": "hits", "at_least": 8}, True),
        ({"count": "hits", "at_least": 9}, False),
        ({"count": "hits", "at_most": 7}, False),
        ({"count": "hits", "at_least": 8, "at_most": 8}, True),
        ({"count": "gaps", "at_most": 3}, None),
        ({"entered": "largest_stray_mm", "at_most": 3.5}, True),
        ({"entered": "largest_stray_mm", "at_most": 3.4}, False),
    ],
)
def test_a_criterion_is_met_or_not_or_cannot_be_said(
    asked: dict[str, Any], met: bool | None
) -> None:
    document = read_entry(criterion(**asked)())
    assert report_entry(document)["criterion"]["met"] is met  # [C] 8 hits, 3.5 mm
    words = {True: "met.", False: "not met.", None: "cannot be said."}[met]
    last = entry_sentences(report_entry(document), document.task.criterion)[-1]
    assert last.endswith(f"In this attempt: {words}")


def test_a_stray_that_was_not_entered_meets_nothing() -> None:
    tree = json.loads(criterion(entered="largest_stray_mm", at_most=3.2)())
    del tree["largest_stray_mm"]
    assert told(tree)["criterion"]["met"] is None


def test_an_attempt_of_which_nothing_was_counted_is_kept_and_flagged() -> None:
    tree = {"format": "linnet-entry/1", "entry_id": ENTRY_ID, "task": {"mode": "trace"}}
    report = told(tree)
    assert report["quality"]["flags"] == ["entered", "nothing_entered"]
    assert set(report["quality"]["flags"]) <= set(ENTRY_FLAGS)
    assert report["criterion"] is None
    assert entry_sentences(report) == []


def test_what_was_entered_is_said_in_whole_sentences() -> None:
    document = read_entry(as_bytes(sound_entry()))
    said = [
        one.replace("\N{NO-BREAK SPACE}", " ")
        for one in entry_sentences(report_entry(document), document.task.criterion)
    ]
    assert said == [
        "Counted: dots 10, hits 8.",
        "Farthest from the line, by ruler: 3.5 mm (asked: 6.35 mm each side).",  # [C] 12.7 / 2
        "It took 42.5 s.",
        "Asked for: hits at least 8. In this attempt: met.",
    ]


def test_unknown_keys_are_kept_at_every_depth() -> None:
    tree = sound_entry()
    tree["mark"] = {SECRET: [1, None]}
    tree["task"]["faults"] = "a word that is also a method"
    document = read_entry(as_bytes(tree))
    assert document.model_dump()["mark"] == {SECRET: [1, None]}
    assert SECRET not in json.dumps(report_entry(document))


def test_the_sound_entry_and_its_report_obey_their_schemas() -> None:
    made = schemas()
    jsonschema.validate(sound_entry(), made["linnet-entry-1"])
    jsonschema.validate(told(sound_entry()), made["linnet-entry-report-1"])
    measured = told(sound_entry()) | {"measures": {"completion": {"value": 1.0, "unit": "1"}}}
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(measured, made["linnet-entry-report-1"])


def test_an_entry_is_told_apart_from_trials_and_cuts() -> None:
    document = read_input(as_bytes(sound_entry()))
    assert isinstance(document, EntryDocument)
    assert score_input(document)["format"] == "linnet-entry-report/1"
    assert read_input(as_bytes(sound() | {"note": "see linnet-entry/1"})).format == "linnet-trial/1"
    with pytest.raises(BadDocument) as caught:
        read_input(put("counts", SECRET, value=1)())
    assert caught.value.faults[0].path.startswith("/counts")
    assert SECRET not in str(caught.value)


def test_a_guide_given_for_all_files_leaves_an_entry_as_it_is() -> None:
    document = read_entry(as_bytes(sound_entry()))
    assert document.with_guide(GuideFields(points_mm=[[0.0, 0.0], [9.0, 0.0]])) is document


def test_the_command_prints_what_was_entered(tmp_path: Path) -> None:
    file = tmp_path / "entry.json"
    file.write_bytes(as_bytes(sound_entry()))
    plain = CliRunner().invoke(app, ["score", "--text", str(file)])
    assert plain.exit_code == 0
    assert "Counted: dots 10, hits 8." in plain.stdout
    assert ENTRY_FLAGS["entered"] in plain.stdout
    as_json = CliRunner().invoke(app, ["score", "--json", str(file)])
    assert json.loads(as_json.stdout) == told(sound_entry())
    table = CliRunner().invoke(app, ["score", "--csv", str(file)]).stdout.splitlines()
    row = dict(zip(table[0].split(","), table[1].split(","), strict=True))
    assert row["entry_id"] == ENTRY_ID
    assert row["entered_counts"] == "dots=10 hits=8"
    assert (row["entered_stray_mm"], row["criterion_met"]) == ("3.5", "true")
    assert row["trial_id"] == row["deviation_mean_abs_mm"] == row["cut_counts"] == ""


def test_the_smallest_entry_needs_format_id_and_mode_only() -> None:
    for name in ("plan", "seq", "guide", "condition", "counts", "largest_stray_mm", "duration_s"):
        assert read_entry(less(name)()).entry_id == ENTRY_ID
