"""Cut documents: what is refused, where and with which words, and what reaches the analysis."""

import numpy as np
import pytest

from server.cuts import CutDocument, read_cut
from server.faults import BadDocument
from server.guides import GuideFields
from server.inputs import read_input, score_input
from server.scoring import SCORING_FAILED, score_cut
from tests.cut_documents import CASES, CUT_ID, less, put, sound_cut, without
from tests.documents import SECRET, Case, as_bytes, assert_refused, sound

pytestmark = pytest.mark.filterwarnings("error")


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_malformed_cut_is_refused_with_status_path_and_a_sentence(case: Case) -> None:
    assert_refused(case, read_cut, sound_cut)


def test_the_table_holds_at_least_fifty_kinds_and_names_each_once() -> None:
    assert len(CASES) >= 50
    assert len({case.name for case in CASES}) == len(CASES)


def test_the_sound_cut_reaches_the_analysis_in_millimetres() -> None:
    cut = read_cut(as_bytes(sound_cut())).to_cut()
    assert cut.cut_id == CUT_ID
    assert cut.outline_mm is not None
    # [C] 152.5 / 8 and 488.5 / 8
    np.testing.assert_allclose(cut.outline_mm[0], [19.0625, 19.0625], rtol=1e-12)
    np.testing.assert_allclose(cut.outline_mm[2], [61.0625, 61.0625], rtol=1e-12)
    assert cut.marks_seen_mm is not None
    np.testing.assert_allclose(cut.marks_seen_mm[1], [100.0625, 10.0625], rtol=1e-12)  # [C]
    assert cut.registration == "marks"
    assert cut.band_mm == 3.2
    assert cut.calibrated
    assert cut.counts == {"snips": 17, "paper_turns": 4}
    assert cut.criterion is not None
    assert cut.criterion.at_most == 3.2
    assert cut.template.closed
    assert cut.template.points_mm.shape == (4, 2)


def test_marks_bring_the_photograph_back_to_where_it_was_cut() -> None:
    report = score_cut(read_cut(as_bytes(sound_cut())))
    # [C] marks and outline are 0.5 px off alike: the piece lies where it was cut
    assert report["registration"]["moved_mm"] == pytest.approx(np.hypot(0.0625, 0.0625))
    assert report["registration"]["turned_deg"] == pytest.approx(0.0, abs=1e-9)
    assert report["measures"]["cut_overlap"]["value"] == pytest.approx(1600 / 1764)  # [C] 40, 42
    assert report["measures"]["cut_within_tolerance_share"]["value"] == 1.0
    assert report["criterion"]["met"] is True


def test_without_registration_the_best_fit_is_taken_and_without_calibration_nothing() -> None:
    assert read_cut(without("registration")()).to_cut().registration == "best_fit"
    document = read_cut(less("scale", "calibrated")())
    assert document.to_cut().calibrated is False
    reasons = {one.get("reason") for one in score_cut(document)["measures"].values()}
    assert reasons == {"not_calibrated"}


def test_the_band_is_the_documents_own_or_half_the_templates_corridor() -> None:
    assert read_cut(as_bytes(sound_cut())).each_side_mm == 3.2
    own = read_cut(put("band_mm", value=6.35)())
    assert own.each_side_mm == 6.35
    assert read_cut(without("band_mm")()).each_side_mm == 3.2  # [C] half of 6.4
    assert read_cut(put("template", "corridor_mm", value=[6, 6, 6, 8])()).each_side_mm == 3.2
    tree = sound_cut()
    del tree["band_mm"], tree["template"]["corridor_mm"]
    assert read_cut(as_bytes(tree)).each_side_mm is None


QUALITY = {
    "an edge that crosses itself": put(
        "outline", "points", value=[[152, 152], [488, 488], [488, 152], [152, 488]]
    ),
    "a scrap": put("outline", "points", value=[[152, 152], [188, 152], [188, 188]]),
    "all points in one place": put("outline", "points", value=[[152, 152]] * 5),
    "not calibrated": put("scale", "calibrated", value=False),
    "an outline in mm": put(
        "outline", value={"points": [[19, 19], [61, 19], [61, 61]], "unit": "mm"}
    ),
    "no counts": without("counts"),
    "counts only": without("outline", "registration", "scale"),
    "no band at all": without("band_mm"),
    "a first point said again at the end": put(
        "template", "points_mm", value=[[20, 20], [60, 20], [60, 60], [20, 60], [20, 20]]
    ),
    "marks that were not asked for": put("registration", "kind", value="none"),
    "no task and no condition": without("task", "condition", "plan", "seq", "started_at"),
}


@pytest.mark.parametrize("make", QUALITY.values(), ids=QUALITY.keys())
def test_a_fault_of_quality_is_no_reason_to_refuse(make) -> None:
    report = score_cut(read_cut(make()))
    assert report["cut_id"] == CUT_ID
    assert SCORING_FAILED not in report["quality"]["flags"]
    for one in report["measures"].values():
        assert (one["value"] is None) == ("reason" in one)


def test_unknown_keys_are_kept_at_every_depth() -> None:
    tree = sound_cut()
    tree["weather"] = {SECRET: [1, None]}
    tree["template"]["to_cut"] = "a word that is also a method"
    document = read_cut(as_bytes(tree))
    assert document.model_dump()["weather"] == {SECRET: [1, None]}
    assert document.template.model_dump()["to_cut"] == "a word that is also a method"
    assert document.to_cut().cut_id == CUT_ID


def test_a_trial_that_speaks_of_cuts_is_still_a_trial() -> None:
    tree = sound()
    tree["note"] = "see linnet-cut/1"
    assert read_input(as_bytes(tree)).format == "linnet-trial/1"
    document = read_input(as_bytes(sound_cut()))
    assert isinstance(document, CutDocument)
    assert score_input(document)["format"] == "linnet-cut-report/1"


@pytest.mark.parametrize(
    "tree", [[sound_cut()], "linnet-cut/1", {"format": 7, "see": "linnet-cut/1"}]
)
def test_what_is_neither_a_trial_nor_a_cut_is_refused_as_a_trial(tree: object) -> None:
    with pytest.raises(BadDocument):
        read_input(as_bytes(tree))


@pytest.mark.parametrize(
    "guide",
    [
        {"points_mm": [[0, 0], [9, 0], [9, 9]]},
        {"points_mm": [[0, 0], [9, 0]], "closed": True},
        {"targets_mm": [{"x": 1, "y": 1, "radius": 2, "order": 0}]},
        {"parts": [{"points_mm": [[0, 0], [9, 0], [9, 9]], "closed": True}] * 2},
    ],
)
def test_only_one_closed_line_can_be_a_template(guide: dict[str, object]) -> None:
    document = read_cut(as_bytes(sound_cut()))
    assert document.with_guide(GuideFields.model_validate(guide)) is None


def test_a_crash_in_scoring_leaves_the_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    def crash(_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("analysis.report_cut.make_cut_report", crash)
    report = score_cut(read_cut(as_bytes(sound_cut())))
    assert report["quality"]["flags"] == [SCORING_FAILED]
    assert report["counts"] == {"snips": 17, "paper_turns": 4}
