"""Scoring never loses a trial, whatever happens inside."""

import logging
from typing import Any

import pytest

from analysis.registry import MEASURES
from server import scoring
from server.documents import read_trial
from server.scoring import score
from tests.documents import TRIAL_ID, as_bytes, put, sound


def test_a_report_names_its_trial_and_holds_every_measure_of_the_mode() -> None:
    report = score(read_trial(as_bytes(sound())))
    assert report["format"] == "linnet-report/1"
    assert report["trial_id"] == TRIAL_ID
    asked = [one.id for one in MEASURES if one.scope == "trial" and "trace" in one.modes]
    assert list(report["measures"]) == asked
    for value in report["measures"].values():
        assert (value["value"] is None) == ("reason" in value)


def test_a_crash_inside_gives_a_flagged_report_without_numbers(
    monkeypatch: pytest.MonkeyPatch, caplog: Any
) -> None:
    def crash(_: object) -> None:
        raise ZeroDivisionError("Quillfeather")

    document = read_trial(as_bytes(sound()))
    whole = score(document)
    monkeypatch.setattr(scoring, "make_report", crash)
    with caplog.at_level(logging.ERROR, logger="linnet"):
        report = score(document)
    assert set(report) == set(whole)
    assert report["quality"]["flags"] == ["scoring_failed"]
    assert report["measures"] == {}
    assert set(report["scores"].values()) == {None}
    assert report["guide_id"] is None
    [record] = caplog.records
    assert record.getMessage() == "scoring a trial failed"
    assert record.trial_id == TRIAL_ID
    assert [one["kind"] for one in record.errors] == ["ZeroDivisionError"]
    assert "Quillfeather" not in str(vars(record))


EXTREME = {
    "nothing drawn": put("samples", value={"t_ms": [], "x_mm": [], "y_mm": [], "stroke": []}),
    "one sample": put("samples", value={"t_ms": [1], "x_mm": [9], "y_mm": [9], "stroke": [0]}),
    "all in one place": put("samples", "x_mm", value=[20.0] * 4),
    "all at once": put("samples", "t_ms", value=[600.0] * 4),
    "backwards in time": put("samples", "t_ms", value=[900.0, 800.0, 700.0, 600.0]),
    "no guide": put("guide", value={}),
    "one target": put("guide", value={"targets_mm": [{"x": 20, "y": 60, "radius": 5, "order": 0}]}),
    "tap without targets": put("task", "mode", value="tap"),
    "join without targets": put("task", "mode", value="join"),
    "both": put("task", "mode", value="both"),
    "as far away as can be": put("samples", "x_mm", value=[-10_000, 10_000, -10_000, 10_000]),
    "shortest guide": put("guide", "points_mm", value=[[0, 0], [0.001, 0]]),
    "unknown criterion": put("task", "criterion", "measure", value="no_such_measure"),
    "a stroke each": put("samples", "stroke", value=[0, 1, 2, 3]),
    "narrowest corridor": put("guide", "corridor_mm", value=1e-9),
}


@pytest.mark.parametrize("make", EXTREME.values(), ids=EXTREME.keys())
def test_the_extremes_that_documents_allow_are_scored_without_a_crash(make: Any) -> None:
    report = score(read_trial(make()))
    assert "scoring_failed" not in report["quality"]["flags"]
