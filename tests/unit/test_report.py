"""The report says what is known and what is not, for each usual way to go wrong."""

import json

import numpy as np
import pytest

from analysis.alignment import align
from analysis.guide import Guide, Target
from analysis.quality import FLAGS, position_step_mm
from analysis.report import make_report
from analysis.trial import MODES, Condition, Criterion, Device
from analysis.value import Value, first_reason
from analysis.workings import Workings
from tests.known import trial

LINE = Guide.from_points([[20, 60], [200, 60]], corridor_mm=12, midline_x_mm=110)
T_S = np.linspace(0, 5, 601)
X_MM = np.linspace(20, 200, 601)
X_MM[1:-1] += np.random.default_rng(5).uniform(-0.1, 0.1, 599)  # evenly spaced would be a lattice
XY_MM = np.column_stack([X_MM, 0 * X_MM + 61])


def report(**changes: object) -> dict:  # type: ignore[type-arg]
    xy_mm = changes.pop("xy_mm", XY_MM)
    t_s = changes.pop("t_s", T_S)
    guide = changes.pop("guide", LINE)
    return make_report(Workings(trial(guide, xy_mm, t_s, **changes)))  # type: ignore[arg-type]


def test_a_good_trial_has_no_flags_and_is_json() -> None:
    found = report()
    assert found["quality"]["flags"] == []
    assert found["travelled"] == "left_to_right"
    assert found["half_width_mm"] == 6.0
    assert found["scores"] == {"on_path_pct": 100.0, "covered_pct": 100.0, "moving_pct": 100.0}
    assert json.loads(json.dumps(found, allow_nan=False)) == found


def test_nothing_drawn_is_said_and_nothing_is_zero() -> None:
    found = report(xy_mm=np.zeros((0, 2)), t_s=np.zeros(0))
    assert "nothing_drawn" in found["quality"]["flags"]
    assert found["scores"] == {"on_path_pct": None, "covered_pct": None, "moving_pct": None}
    assert found["measures"]["deviation_mean_abs"] == {
        "value": None,
        "unit": "mm",
        "reason": "no_samples",
    }


def test_the_wrong_way_is_named_as_travelled() -> None:
    found = report(xy_mm=XY_MM[::-1])
    assert found["travelled"] == "right_to_left"
    assert "traced_other_way" in found["quality"]["flags"]
    assert found["measures"]["stop_error"]["reason"] == "traced_other_way"
    assert found["measures"]["deviation_mean_abs"]["value"] == pytest.approx(1.0)


def test_an_uncalibrated_finger_gives_shares_but_no_millimetres() -> None:
    found = report(device=Device("touch", coalesced=False, secure_context=False))
    assert found["quality"]["flags"] == [
        "uncalibrated",
        "finger",
        "parent_events_only",
        "insecure_context",
    ]
    for name, row in found["measures"].items():
        if "mm" in row["unit"] or "cm" in row["unit"]:
            assert row["value"] is None, name
    assert found["measures"]["in_corridor_share"]["value"] == 1.0
    assert found["measures"]["deviation_rms"]["reason"] == "not_calibrated"


def test_a_label_that_contradicts_the_guide_is_flagged() -> None:
    found = report(condition=Condition(hand="right", direction="right_to_left"))
    assert "direction_mismatch" in found["quality"]["flags"]
    assert found["travelled"] == "left_to_right"


@pytest.mark.parametrize(
    ("criterion", "met"),
    [
        (Criterion("in_corridor_share", at_least=0.8), True),
        (Criterion("deviation_mean_abs", at_most=0.5), False),
        (Criterion("closure_error", at_most=5), None),
        (Criterion("no_such_measure", at_least=1), None),
    ],
)
def test_criterion(criterion: Criterion, met: bool | None) -> None:
    assert report(criterion=criterion)["criterion"]["met"] is met


def test_too_little_traced_fails_a_criterion_but_a_technical_fault_does_not() -> None:
    criterion = Criterion("in_corridor_share", at_least=0.8)
    short = report(xy_mm=XY_MM[:60], t_s=T_S[:60], criterion=criterion)
    assert short["criterion"]["met"] is False
    empty = report(xy_mm=np.zeros((0, 2)), t_s=np.zeros(0), criterion=criterion)
    assert empty["criterion"]["met"] is None


def test_a_changed_guide_id_is_flagged() -> None:
    found = report(declared_guide_id="g1-00000000000000000000")
    assert "guide_id_differs" in found["quality"]["flags"]


def test_events_carry_their_places() -> None:
    y_mm = np.where(np.abs(X_MM - 150) < 10, 70.0, 60.0)
    found = report(xy_mm=np.column_stack([X_MM, y_mm]))
    (one,) = found["events"]["departures"]
    assert one["max_beyond_mm"] == pytest.approx(4.0)
    assert one["from_mm"] == pytest.approx(120, abs=0.5)
    (crossing,) = found["events"]["crossings"]
    assert crossing["towards"] == "right"
    assert crossing["x_mm"] == pytest.approx(115, abs=0.3)


def test_whole_pixels_are_coarse_and_fine_ones_are_not() -> None:
    rng = np.random.default_rng(1)
    fine = rng.uniform(0, 100, (400, 2))
    assert position_step_mm(fine) is None
    assert position_step_mm(np.round(fine / 0.26) * 0.26) == pytest.approx(0.26, rel=1e-6)


def test_every_flag_has_a_sentence() -> None:
    assert all(text.endswith(".") for text in FLAGS.values())


def test_a_value_is_a_number_or_a_reason() -> None:
    with pytest.raises(ValueError, match="number or a reason"):
        Value(1.0, "no_samples")
    with pytest.raises(ValueError, match="finite"):
        Value(float("nan"))
    with pytest.raises(ValueError, match="unknown reason"):
        Value(None, "because")
    assert first_reason(["too_little_traced", "no_samples"]) == "no_samples"


def test_alignment_of_a_single_sample_covers_nothing() -> None:
    found = align(LINE, np.array([[50.0, 60.0]]), np.array([0]))
    assert found.completion == 0.0
    assert found.s_mm[0] == pytest.approx(30.0)


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("dots", [0, 1, 3])
def test_every_mode_and_any_number_of_dots_is_reported(mode: str, dots: int) -> None:
    targets = [Target(20.0 + 30 * k, 60.0, 5.0, k) for k in range(dots)]
    found = report(guide=Guide(targets=targets) if dots else None, mode=mode)
    assert found["mode"] == mode
    assert (found["guide_id"] is None) == (dots == 0)
    if mode in {"tap", "join", "both"}:
        assert found["scores"]["on_path_pct"] is None
    elif dots < 2:
        assert found["measures"]["deviation_rms"]["reason"] == "no_guide"
