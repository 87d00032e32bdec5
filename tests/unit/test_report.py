"""The report says what is known and what is not, for each usual way to go wrong."""

import copy
import json
from typing import Any

import jsonschema
import numpy as np
import pytest

from analysis.alignment import align
from analysis.guide import Guide, Target
from analysis.quality import FLAGS, position_step_mm
from analysis.report import make_report
from analysis.trial import MODES, Condition, Criterion, Device
from analysis.value import Value, first_reason
from analysis.workings import Workings
from server.documents import read_trial, schemas
from server.scoring import failed_report, score
from tests.documents import as_bytes, sound
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


DOTS = [{"x": 20.0 + 40 * k, "y": 60.0, "radius": 5.0, "order": k} for k in range(5)]
RAILS = [
    {"points_mm": [[20, y], [200, y]], "closed": False, "corridor_mm": 12.0} for y in (60, 110)
]


def document(mode: str, guide: dict[str, Any], samples: dict[str, Any]) -> dict[str, Any]:
    tree = copy.deepcopy(sound())
    tree["task"] = {"mode": mode}
    tree["guide"] = guide
    tree["marks"] = []
    tree["samples"] = samples
    return tree


def columns(x_mm: Any, y_mm: Any, t_ms: Any, stroke: Any, **more: Any) -> dict[str, Any]:
    made = {"t_ms": t_ms, "x_mm": x_mm, "y_mm": y_mm, "stroke": stroke} | more
    return {name: np.asarray(column).tolist() for name, column in made.items()}


def scored(mode: str, guide: dict[str, Any], samples: dict[str, Any]) -> dict[str, Any]:
    """The report of a document, which obeys its schema as the document does."""
    tree = document(mode, guide, samples)
    jsonschema.validate(tree, schemas()["linnet-trial-1"])
    read = read_trial(as_bytes(tree))
    found = score(read)
    assert "scoring_failed" not in found["quality"]["flags"]
    jsonschema.validate(found, schemas()["linnet-report-1"])
    jsonschema.validate(failed_report(read.to_trial()), schemas()["linnet-report-1"])
    return json.loads(json.dumps(found, allow_nan=False))  # type: ignore[no-any-return]


def two_lines(**more: Any) -> dict[str, Any]:
    """Both rails from left to right; contact 1 leaves its corridor by 2 mm half way."""
    x_mm = np.repeat(np.linspace(20, 200, 541), 2)
    pointer = np.tile([0, 1], 541)
    y_mm = np.where(pointer == 0, 61.0, np.where(np.abs(x_mm - 110) < 20, 118.0, 109.0))
    t_ms = 500 + np.arange(1082) * 1000 / 240
    return columns(x_mm, y_mm, t_ms, np.zeros(1082, int), **({"pointer": pointer} | more))


def test_two_hands_are_reported_together_and_each_on_its_own() -> None:
    found = scored("both", {"parts": RAILS}, two_lines())
    assert found["measures"]["both_deviation_difference"]["value"] > 1.0
    assert found["measures"]["completion"]["value"] == pytest.approx(1.0)
    assert found["scores"]["covered_pct"] == 100.0
    assert found["scores"]["on_path_pct"] == pytest.approx(100 - 50 * 40 / 180, abs=0.5)
    assert found["half_width_mm"] == 6.0
    first, second = found["contacts"]
    assert (first["pointer"], first["part"], second["pointer"], second["part"]) == (0, 0, 1, 1)
    assert first["measures"]["deviation_mean_abs"]["value"] == pytest.approx(1.0)
    assert first["measures"]["departure_count"]["value"] == 0
    assert second["measures"]["departure_count"]["value"] == 1
    assert "hand_switch_count" in found["measures"]
    assert "hand_switch_count" not in first["measures"]


def test_an_event_of_one_hand_names_its_contact_and_its_samples() -> None:
    found = scored("both", {"parts": RAILS}, two_lines())
    (one,) = found["events"]["departures"]
    assert one["pointer"] == 1
    assert one["max_beyond_mm"] == pytest.approx(2.0)
    w = Workings(read_trial(as_bytes(document("both", {"parts": RAILS}, two_lines()))).to_trial())
    stretch = slice(one["start_index"], one["end_index"] + 1)
    # From the last sample inside the corridor to the first one back in it.
    assert w.trace.xy_mm[stretch, 1].tolist() == [109.0] + [118.0] * (
        one["end_index"] - one["start_index"] - 1
    ) + [109.0]
    assert w.trace.pointer is not None
    assert (w.trace.pointer[stretch] == 1).all()


def test_two_hands_without_a_column_of_contacts_are_one_contact() -> None:
    samples = two_lines()
    del samples["pointer"]
    found = scored("both", {"parts": RAILS}, samples)
    assert [contact["pointer"] for contact in found["contacts"]] == [0]
    assert found["measures"]["both_progress_lag"]["reason"] == "too_little_traced"


def test_only_two_hands_have_contacts() -> None:
    assert report()["contacts"] is None


def test_taps_are_reported_with_an_interval() -> None:
    samples = columns(
        np.repeat([20, 60, 108, 140, 180], 2),
        np.repeat(60.0, 10),
        np.repeat(np.arange(5) * 700.0, 2) + np.tile([0.0, 12.0], 5),
        np.repeat(np.arange(5), 2),
    )
    found = scored("tap", {"targets_mm": DOTS}, samples)
    assert found["measures"]["hit_share"] == {
        "value": 0.8,
        "unit": "1",
        "low": pytest.approx(0.3755, abs=1e-4),
        "high": pytest.approx(0.9638, abs=1e-4),
    }
    assert found["scores"]["covered_pct"] == 80.0
    assert found["scores"]["on_path_pct"] is None
    assert found["travelled"] is None
    assert found["quality"]["sample_count"] == 10
    assert not {"partial", "traced_other_way"} & set(found["quality"]["flags"])
    assert found["events"]["pauses"] == []
    assert len(found["events"]["lifts"]) == 4


def test_joined_dots_are_reported_with_a_direction() -> None:
    x_mm = np.linspace(180, 20, 481)
    samples = columns(x_mm, 0 * x_mm + 62, 500 + np.arange(481) * 1000 / 120, 0 * x_mm.astype(int))
    found = scored("join", {"targets_mm": DOTS}, samples)
    assert found["scores"]["covered_pct"] == 100.0
    assert found["scores"]["on_path_pct"] is None
    assert found["travelled"] == "right_to_left"
    assert "traced_other_way" in found["quality"]["flags"]
    assert found["measures"]["deviation_mean_abs"]["value"] == pytest.approx(2.0)
    assert found["measures"]["target_error_mean"]["value"] == pytest.approx(2.0)


def test_the_settings_say_which_limits_were_in_force() -> None:
    assert report()["settings"] == {"grid_rate_hz": 120.0, "pause_limit_mm_s": 5.0}
    slow = report(t_s=T_S * 5)["settings"]  # 36 mm/s becomes 7.2 mm/s, at 24 Hz
    assert slow == {"grid_rate_hz": 60.0, "pause_limit_mm_s": None}
    t_s = np.linspace(0, 25, 2501)
    x_mm = np.interp(t_s, [0, 25], [20, 200])
    calm = report(xy_mm=np.column_stack([x_mm, 0 * x_mm + 61]), t_s=t_s)["settings"]
    assert calm["pause_limit_mm_s"] == pytest.approx(7.2 / 2, rel=0.01)
    assert report(t_s=None)["settings"] == {"grid_rate_hz": None, "pause_limit_mm_s": None}


def test_the_report_says_how_many_samples_it_rests_on() -> None:
    assert report()["quality"]["sample_count"] == 601
    assert report(xy_mm=np.zeros((0, 2)), t_s=np.zeros(0))["quality"]["sample_count"] == 0


def test_a_clock_that_stood_still_is_said_and_leaves_the_distances() -> None:
    line = Guide.from_points([[0, 0], [100, 0]], corridor_mm=8)
    x_mm = np.linspace(0, 100, 101)
    xy_mm = np.column_stack([x_mm, np.full_like(x_mm, -2.0)])
    report = make_report(Workings(trial(line, xy_mm, np.full_like(x_mm, 0.6))))
    assert "time_not_monotone" in report["quality"]["flags"]
    assert report["measures"]["deviation_mean_abs"]["value"] == 2.0  # [C] line moved by 2 mm
    assert report["measures"]["completion"]["value"] == 1.0
    assert report["measures"]["duration"]["reason"] == "time_not_monotone"
