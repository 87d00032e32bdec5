"""A cut piece: what is refused and why, how it is laid, what its report says."""

import json
import time

import numpy as np
import pytest

from analysis.cut import Cut
from analysis.cut_workings import CUT_NEEDS, CutWorkings
from analysis.cutting import kinks
from analysis.errors import BadOutline
from analysis.guide import Guide, Part
from analysis.identity import guide_id
from analysis.measures_cut import CUT_MEASURES
from analysis.outline import ClosedLine, polygon_of
from analysis.registration import Rigid, best_fit, rigid_fit
from analysis.registry import measure_cut, reasons_of
from analysis.report_cut import CUT_FLAGS, HIDES, make_cut_report
from analysis.trace import FloatArray
from analysis.trial import Criterion
from analysis.value import REASONS, Refused
from tests.outlines import L_SHAPE, SQUARE, blob_mm, circle_mm, cut_of, moved, number, values

BOW_TIE = np.array([[0.0, 0.0], [40.0, 40.0], [40.0, 0.0], [0.0, 40.0]])
TWO_PIECES = np.vstack([SQUARE, SQUARE + 100])
PINCHED = np.array([[0.0, 0.0], [20.0, 20.0], [40.0, 0.0], [40.0, 40.0], [20.0, 20.0], [0.0, 40.0]])
SPIKE = np.vstack([SQUARE, [[0.0, 20.0], [-30.0, 20.0], [0.0, 20.0]]])
INVALID = {
    "bow-tie": BOW_TIE,
    "two pieces in one list": TWO_PIECES,
    "touching itself": PINCHED,
    "spike without width": SPIKE,
    "one point": SQUARE[:1],
    "two points": SQUARE[:2],
    "one place": np.zeros((9, 2)),
    "collinear": np.column_stack([np.arange(9.0), np.arange(9.0)]),
    "less than a quarter": SQUARE * 0.499,
    "tiny": SQUARE * 1e-9,
    "a kilometre off": SQUARE + 2e6,
    "beyond numbers": SQUARE * 1e300,
}


def reasons(cut: Cut) -> set[str | None]:
    return {value.reason for value in measure_cut(CutWorkings(cut)).values()}


@pytest.mark.parametrize("outline", INVALID.values(), ids=INVALID)
@pytest.mark.parametrize("kind", ["none", "best_fit"])
def test_what_is_no_single_closed_shape_is_refused(outline: FloatArray, kind: str) -> None:
    cut = cut_of(SQUARE, outline, kind, band_mm=2)
    assert reasons(cut) == {"outline_invalid"}
    report = make_cut_report(CutWorkings(cut))
    assert report["quality"]["flags"] == ["outline_invalid"]
    assert report["registration"]["turned_deg"] is None


def test_from_a_quarter_of_the_area_an_outline_is_taken() -> None:
    found = values(SQUARE, SQUARE * 0.501)
    assert number(found, "cut_area_ratio") == pytest.approx(0.251001)


def test_repeated_points_and_a_repeated_end_change_nothing() -> None:
    repeated = np.repeat(np.vstack([L_SHAPE, L_SHAPE[:1]]), 3, axis=0)
    assert values(L_SHAPE, repeated, band_mm=2) == values(L_SHAPE, L_SHAPE, band_mm=2)


def test_without_an_outline_there_are_no_samples() -> None:
    for outline in (None, np.empty((0, 2))):
        cut = cut_of(SQUARE, outline, counts={"snips": 6}, calibrated=False)
        assert reasons(cut) == {"no_samples"}
        report = make_cut_report(CutWorkings(cut))
        assert report["counts"] == {"snips": 6}
        assert report["quality"] == {
            "calibrated": False,
            "point_count": 0,
            "flags": ["nothing_digitised"],
        }


def test_without_a_scale_nothing_is_measured_not_even_counts() -> None:
    for outline in (SQUARE, BOW_TIE):
        cut = cut_of(SQUARE, outline, "best_fit", calibrated=False, counts={"snips": 6})
        assert reasons(cut) == {"not_calibrated"}
        report = make_cut_report(CutWorkings(cut))
        assert report["quality"]["flags"] == ["uncalibrated"]
        assert report["registration"] == {
            "kind": "best_fit",
            "rms_mm": None,
            "turned_deg": None,
            "moved_mm": None,
            "hides": "shift_and_turn",
        }
        assert report["counts"] == {"snips": 6}


@pytest.mark.parametrize(
    "template",
    [
        Part([[0, 0], [150, 0]]),
        Part(SQUARE, closed=False),
        Part([[0, 0], [40, 0]], closed=True),
        Part(BOW_TIE, closed=True),
        Part(SQUARE / 100, closed=True),
        Part(SQUARE + 3e6, closed=True),
    ],
    ids=["straight strip", "open", "without area", "crossing itself", "under 1 mm2", "far off"],
)
@pytest.mark.parametrize("outline", [SQUARE, BOW_TIE], ids=["sound", "bow-tie"])
def test_a_template_that_bounds_no_area_has_nothing_to_measure_on(
    template: Part, outline: FloatArray
) -> None:
    cut = Cut("c", template, outline, band_mm=2, registration="best_fit", calibrated=True)
    assert reasons(cut) == {"guide_lacks_feature"}
    report = make_cut_report(CutWorkings(cut))
    assert report["quality"]["flags"] == ["template_open"]


def test_the_band_is_as_entered_else_half_the_corridor_else_unknown() -> None:
    outside = SQUARE * 1.1 - 2
    name = "cut_within_tolerance_share"
    assert values(SQUARE, outside)[name].reason == "guide_lacks_feature"
    wide = number(values(SQUARE, outside, corridor_mm=12), name)
    assert wide == 1
    assert number(values(SQUARE, outside, corridor_mm=3.9), name) == 0
    assert number(values(SQUARE, outside, corridor_mm=3.9, band_mm=6), name) == 1


def test_the_first_reason_in_order_is_given() -> None:
    order = list(REASONS)
    ranks = [order.index(code) for code, _ in CUT_NEEDS.values()]
    assert ranks == sorted(ranks)
    for entry in CUT_MEASURES:
        assert entry.needs <= set(CUT_NEEDS)
        assert reasons_of(entry)[:2] == ("no_samples", "not_calibrated")
    corner = values(circle_mm(30, 90), BOW_TIE)["cut_corner_miss"]
    assert corner.reason == "guide_lacks_feature"


@pytest.mark.parametrize(
    "wrong",
    [
        {"outline_mm": [[0, 0], [1, np.nan]]},
        {"outline_mm": [[0, np.inf]]},
        {"outline_mm": [1, 2, 3]},
        {"outline_mm": [[1, 2, 3]]},
        {"band_mm": 0},
        {"band_mm": np.nan},
        {"registration": "guess"},
        {"registration": "marks"},
        {"registration": "marks", "marks_seen_mm": [[0, 0]], "marks_printed_mm": [[0, 0]]},
        {"registration": "marks", "marks_seen_mm": SQUARE, "marks_printed_mm": SQUARE[:3]},
        {"registration": "marks", "marks_seen_mm": SQUARE * 0, "marks_printed_mm": SQUARE},
    ],
)
def test_faults_of_structure_are_errors(wrong: dict[str, object]) -> None:
    with pytest.raises(BadOutline):
        Cut("c", Part(SQUARE, closed=True), **wrong)  # type: ignore[arg-type]


def test_a_point_that_is_not_finite_is_named() -> None:
    with pytest.raises(BadOutline, match="outline_mm must be finite: see point 2"):
        Cut("c", Part(SQUARE, closed=True), np.array([[0, 0], [1, 1], [2, np.nan]]))


@pytest.mark.parametrize("turn_deg", [0, 20, 44, 46, 90, 130, 180, 270])
def test_of_equal_fits_the_one_with_the_smallest_turn_is_kept(turn_deg: float) -> None:
    w = CutWorkings(cut_of(SQUARE, moved(SQUARE, turn_deg, (9, 9)), "best_fit"))
    assert w.fit is not None
    quarter = turn_deg - 90 * round(turn_deg / 90)
    assert w.fit.rigid.turn_deg == pytest.approx(-quarter, abs=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_a_star_of_uneven_points_is_found_from_any_turn(seed: int) -> None:
    """Four starts miss more than half of these: each point fits near every other one."""
    rng = np.random.default_rng(seed)
    angle = np.arange(24) * np.pi / 12
    radius = np.where(np.arange(24) % 2, 18.0, 30.0) + rng.normal(0, 1.5, 24)
    star = radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    turn_deg = rng.uniform(-180, 180)
    w = CutWorkings(cut_of(star, moved(star, turn_deg, (30, 0)), "best_fit"))
    assert w.fit is not None
    assert w.fit.rms_mm < 1e-6
    assert w.fit.rigid.turn_deg == pytest.approx(-turn_deg, abs=1e-6)


def test_rigid_motion_of_one_place_is_a_shift() -> None:
    found = rigid_fit(np.full((3, 2), 2.0), np.full((3, 2), 5.0))
    assert found.turn_rad == 0
    assert found.shift_mm == pytest.approx([3, 3])


def test_a_turn_is_given_within_half_a_turn() -> None:
    assert Rigid(3 * np.pi / 2, np.zeros(2)).turn_deg == pytest.approx(-90)
    assert Rigid(-np.pi, np.zeros(2)).turn_deg == 180


def test_the_nearest_point_of_a_line_is_found_with_its_place() -> None:
    line = ClosedLine(SQUARE)
    foot, piece, share = line.nearest(np.array([[10.0, -3.0], [50.0, 50.0], [1.0, 20.0]]))
    assert foot.tolist() == [[10, 0], [40, 40], [0, 20]]
    assert piece[0] == 0
    assert share[0] == pytest.approx(0.25)
    assert piece[2] == 3


@pytest.mark.parametrize("count", [1, 7, 400, 1000])
def test_cells_and_samples_stand_for_the_whole_length(count: int) -> None:
    line = ClosedLine(L_SHAPE)
    first, length = line.cells(count)
    assert len(first) <= count + len(L_SHAPE)
    assert length.sum() == pytest.approx(240)
    assert length.max() <= 240 / count * (1 + 1e-5)
    assert {tuple(point) for point in L_SHAPE} <= {tuple(point) for point in first}
    xy, weight = line.samples(count)
    assert weight.sum() == pytest.approx(1)
    assert len(xy) == len(weight) <= count + len(L_SHAPE)
    assert line.distance_mm(xy).max() < 1e-12 if count > 5 else True


def test_a_digitised_curve_is_thinned_to_the_points_the_fit_takes() -> None:
    xy, weight = ClosedLine(circle_mm(40, 5000)).samples(400)
    assert len(xy) == 400
    assert np.ptp(weight) == 0
    assert np.hypot(*xy.T) == pytest.approx(40, abs=1e-4)


def test_turns_of_a_line_shorter_than_the_reach_are_finite() -> None:
    _, _, turn_deg = kinks(ClosedLine(SQUARE / 40))
    assert np.isfinite(turn_deg).all()


def test_kinks_of_a_square_lie_about_its_corners() -> None:
    xy_mm, s_mm, turn_deg = kinks(ClosedLine(SQUARE))
    assert turn_deg.max() == pytest.approx(90)
    assert set(s_mm[turn_deg > 89.9].tolist()) == {0, 40, 80, 120}
    away_mm = np.abs(xy_mm[:, None] - SQUARE).sum(axis=2).min(axis=1)
    assert away_mm.max() < 2


def test_a_polygon_needs_three_distinct_places() -> None:
    with pytest.raises(Refused, match="outline_invalid"):
        polygon_of(np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 0.0], [0.0, 0.0]]))


def test_a_report_of_a_cut_is_plain_json() -> None:
    cut = cut_of(
        SQUARE,
        moved(SQUARE * 1.1, 30, (7, 3)),
        "best_fit",
        corridor_mm=6.35,
        counts={"snips": 9, "turned_paper": 2},
        criterion=Criterion("cut_overlap", at_least=0.8),
    )
    report = make_cut_report(CutWorkings(cut))
    assert json.loads(json.dumps(report, allow_nan=False)) == report
    assert list(report) == [
        "format",
        "cut_id",
        "template_id",
        "analysis_version",
        "quality",
        "registration",
        "measures",
        "counts",
        "criterion",
    ]
    assert report["format"] == "linnet-cut-report/1"
    assert report["template_id"] == guide_id(Guide((cut.template,)))
    assert report["quality"] == {"calibrated": True, "point_count": 4, "flags": []}
    laid = report["registration"]
    assert laid["kind"] == "best_fit"
    assert laid["turned_deg"] == pytest.approx(-30)
    # Centre (22, 22) turned by 30° and shifted lies at (15.05, 33.05); it is brought to (20, 20).
    centre = moved(np.array([[22.0, 22.0]]), 30, (7, 3))[0]
    assert laid["moved_mm"] == pytest.approx(np.hypot(*(centre - 20)))
    assert laid["hides"] in HIDES
    assert list(report["measures"]) == [entry.id for entry in CUT_MEASURES]
    assert report["measures"]["cut_area_ratio"] == {"value": 1.21, "unit": "1"}
    assert report["criterion"] == {
        "measure": "cut_overlap",
        "met": True,
        "value": pytest.approx(1 / 1.21),
    }


@pytest.mark.parametrize(
    ("outline", "criterion", "met"),
    [
        (SQUARE, None, None),
        (SQUARE + 10, Criterion("cut_overlap", at_least=0.8), False),
        (SQUARE, Criterion("cut_deviation_mean", at_most=2), True),
        (BOW_TIE, Criterion("cut_overlap", at_least=0.8), None),
        (SQUARE, Criterion("in_corridor_share", at_least=0.8), None),
    ],
)
def test_a_criterion_is_met_missed_or_unknown(
    outline: FloatArray, criterion: Criterion | None, met: bool | None
) -> None:
    report = make_cut_report(CutWorkings(cut_of(SQUARE, outline, criterion=criterion)))
    row = report["criterion"]
    assert row is None if criterion is None else row["met"] is met


def test_marks_hide_nothing_and_a_bad_fit_of_them_is_flagged() -> None:
    printed = np.array([[-20.0, -20.0], [60.0, -20.0], [60.0, 60.0]])
    good = cut_of(SQUARE, SQUARE, "marks", marks_seen_mm=printed, marks_printed_mm=printed)
    report = make_cut_report(CutWorkings(good))
    assert report["quality"]["flags"] == []
    assert report["registration"]["hides"] is None
    swapped = cut_of(
        SQUARE, SQUARE, "marks", marks_seen_mm=printed[[1, 0, 2]], marks_printed_mm=printed
    )
    assert make_cut_report(CutWorkings(swapped))["quality"]["flags"] == ["marks_misfit"]


def test_an_outline_taken_as_given_is_not_moved() -> None:
    report = make_cut_report(CutWorkings(cut_of(SQUARE, SQUARE + 4)))
    assert report["registration"] == {
        "kind": "none",
        "rms_mm": None,
        "turned_deg": 0,
        "moved_mm": 0,
        "hides": None,
    }


def test_flags_and_what_is_hidden_are_sentences() -> None:
    for text in [*CUT_FLAGS.values(), *HIDES.values()]:
        assert text.endswith(".")
        assert text[0].isupper()


@pytest.mark.parametrize("jagged_mm", [0.0, pytest.param(5.0, marks=pytest.mark.slow)])
def test_a_hundred_thousand_points_are_measured_in_bounded_time(jagged_mm: float) -> None:
    rng = np.random.default_rng(1)
    count = 100_000
    angle = np.arange(count) * 2 * np.pi / count
    radius = 40 + 2 * np.cos(5 * angle) + jagged_mm * rng.uniform(size=count)
    outline = radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    start = time.process_time()
    found = values(circle_mm(40, 720), outline, "best_fit", band_mm=2)
    assert time.process_time() - start < 30
    assert number(found, "cut_deviation_mean") > 1


def test_the_fit_of_a_blob_ends_long_before_its_last_step() -> None:
    template = blob_mm(3)
    outline = moved(template * [1.04, 0.98], 70, (5, 5))
    middle = template.mean(axis=0)
    fit = best_fit(ClosedLine(outline), ClosedLine(template), outline.mean(axis=0), middle)
    assert fit.steps < 30
    assert 0.3 < fit.rms_mm < 1.5
