"""Trial documents: what is refused, where and with which words, and what is not."""

import math

import numpy as np
import pytest

from server.documents import BadDocument, read_trial
from tests.documents import CASES, SECRET, TRIAL_ID, Case, as_bytes, assert_refused, put, sound

pytestmark = pytest.mark.filterwarnings("error")


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_malformed_document_is_refused_with_status_path_and_a_sentence(case: Case) -> None:
    assert_refused(case, read_trial)


def test_the_table_holds_at_least_forty_kinds_and_names_each_once() -> None:
    assert len(CASES) >= 40
    assert len({case.name for case in CASES}) == len(CASES)


def test_the_sound_document_that_all_others_are_made_from_is_accepted() -> None:
    trial = read_trial(as_bytes(sound())).to_trial()
    assert trial.trial_id == TRIAL_ID
    assert trial.mode == "trace"
    assert trial.trace.t_s is not None
    np.testing.assert_allclose(trial.trace.t_s, [0.6, 0.6042, 0.6083, 0.6125], rtol=1e-12)  # [C]
    np.testing.assert_array_equal(trial.trace.xy_mm[1], [20.24, 59.81])
    assert trial.trace.pressure is not None
    assert trial.trace.pressure[0] == 0.31
    assert math.isnan(trial.trace.pressure[3])
    assert trial.guide is not None
    assert trial.guide.length_mm == 160.0  # [C] 180 - 20
    assert trial.guide.half_width_at(0.0) == 4.0  # [C] half of the full width 8
    assert trial.guide.midline_x_mm == 100.0
    assert trial.device.calibrated
    assert trial.condition.hand == "left"
    assert trial.cue_s == 0.0
    assert trial.marks[0].t_s == pytest.approx(0.6104)
    assert trial.criterion is not None
    assert trial.criterion.at_least == 0.8
    assert trial.declared_guide_id == "g1-00000000000000000000"


def test_every_fault_is_named_not_only_the_first() -> None:
    tree = sound()
    del tree["trial_id"]
    tree["device"]["calibrated"] = 1
    tree["samples"]["x_mm"][1] = None
    with pytest.raises(BadDocument) as caught:
        read_trial(as_bytes(tree))
    assert [fault.path for fault in caught.value.faults] == [
        "/trial_id",
        "/device/calibrated",
        "/samples/x_mm/1",
    ]


def test_a_column_of_wrong_values_is_one_fault() -> None:
    with pytest.raises(BadDocument) as caught:
        read_trial(put("samples", "x_mm", value=[None] * 5000)())
    assert [fault.path for fault in caught.value.faults] == ["/samples/x_mm/0"]


QUALITY = {
    "time going back": put("samples", "t_ms", value=[600.0, 640.0, 620.0, 660.0]),
    "time standing still": put("samples", "t_ms", value=[600.0] * 4),
    "time before the guide was shown": put("samples", "t_ms", 0, value=-3.5),
    "nothing drawn": put("samples", value={"t_ms": [], "x_mm": [], "y_mm": [], "stroke": []}),
    "one sample": put("samples", value={"t_ms": [1], "x_mm": [1], "y_mm": [1], "stroke": [0]}),
    "not calibrated": put("device", "calibrated", value=False),
    "said nothing of calibration": put("device", value={"pointer_type": "touch"}),
    "a long gap": put("samples", "t_ms", 3, value=60_000.0),
    "a slow device": put("samples", "t_ms", value=[0, 100, 200, 300]),
    "far from the guide": put("samples", "y_mm", value=[9000.0] * 4),
    "drawn with a mouse": put("device", "pointer_type", value="mouse"),
    "no pressure": put("samples", "pressure", value=None),
    "pressure never measured": put("samples", "pressure", value=[None] * 4),
    "strokes out of order": put("samples", "stroke", value=[3, 1, 1, 2]),
    "no guide": put("guide", value={}),
    "a guide without corridor": put("guide", value={"points_mm": [[0, 0], [90, 0]]}),
    "no conditions": put("condition", value={}),
    "whole numbers for positions": put("samples", "x_mm", value=[20, 21, 22, 23]),
    "another guide id": put("guide", "id", value="g1-ffffffffffffffffffff"),
}


@pytest.mark.parametrize("make", QUALITY.values(), ids=QUALITY.keys())
def test_a_fault_of_quality_is_no_reason_to_refuse(make) -> None:
    assert read_trial(make()).to_trial().trial_id == TRIAL_ID


def test_absent_calibration_counts_as_none() -> None:
    document = read_trial(put("device", value={"pointer_type": "pen"})())
    assert document.to_trial().device.calibrated is False


def test_a_document_without_any_points_has_no_guide() -> None:
    assert read_trial(put("guide", value={"shape": "line"})()).to_trial().guide is None


def test_unknown_keys_are_kept_at_every_depth() -> None:
    tree = sound()
    tree["weather"] = {SECRET: [1, None]}
    tree["samples"]["twist"] = [0, 1, 2, 3]
    tree["device"]["to_trial"] = "a word that is also a method"
    document = read_trial(as_bytes(tree))
    assert document.model_dump()["weather"] == {SECRET: [1, None]}
    assert document.samples.model_dump()["twist"] == [0, 1, 2, 3]
    assert document.to_trial().trial_id == TRIAL_ID


def test_parts_and_targets_reach_the_analysis_in_their_order() -> None:
    parts = [
        {"points_mm": [[0, 0], [30, 0]], "corridor_mm": 10},
        {"points_mm": [[30, 10], [0, 10]], "corridor_mm": [10, 6]},
    ]
    guide = read_trial(put("guide", value={"parts": parts})()).to_trial().guide
    assert guide is not None
    assert guide.length_mm == 60.0  # [C] 30 + 30, nothing between the parts
    assert guide.half_width_at(45.0) == 4.0  # [C] half of 8, midway from 10 to 6
    dots = [
        {"x": 50, "y": 5, "radius": 4, "order": 1},
        {"x": 10, "y": 5, "radius": 4, "order": 0},
    ]
    guide = read_trial(put("guide", value={"targets_mm": dots})()).to_trial().guide
    assert guide is not None
    assert [target.x_mm for target in guide.targets] == [10, 50]


def test_another_guide_can_take_the_place_of_the_documents_own() -> None:
    document = read_trial(as_bytes(sound()))
    other = document.guide.model_copy(update={"corridor_mm": 24.0})
    guide = document.with_guide(other).to_trial().guide
    assert guide is not None
    assert guide.half_width_at(0.0) == 12.0
    assert document.guide.corridor_mm == 8.0
