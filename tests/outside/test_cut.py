"""The edge of a cut piece against closed forms and other libraries."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.linalg import orthogonal_procrustes
from scipy.optimize import minimize
from scipy.spatial import cKDTree
from scipy.spatial.distance import directed_hausdorff
from scipy.special import ellipe
from shapely import LinearRing
from shapely import hausdorff_distance as shapely_hausdorff
from skimage.draw import polygon2mask
from skimage.measure import approximate_polygon
from skimage.transform import EuclideanTransform

from analysis.cut_workings import CutWorkings
from analysis.registration import marks_fit, rigid_fit
from analysis.registry import measure_cut
from analysis.report_cut import make_cut_report
from analysis.trace import FloatArray
from tests.checked import checks
from tests.outlines import (
    L_SHAPE,
    SQUARE,
    blob_mm,
    circle_mm,
    cut_of,
    densely,
    evenly,
    moved,
    number,
    rounded_square_mm,
    values,
)


@checks(
    "C",
    "concentric discs",
    "cut_overlap",
    "cut_area_ratio",
    "cut_deviation_mean",
    "cut_deviation_max",
    "cut_bias_outward",
)
def test_a_disc_cut_too_large_all_round() -> None:
    found = values(circle_mm(30, 4096), circle_mm(31.5, 4096))
    assert number(found, "cut_overlap") == pytest.approx((30 / 31.5) ** 2, abs=1e-6)  # [C]
    assert number(found, "cut_area_ratio") == pytest.approx(1.1025, abs=1e-6)  # [C]
    assert number(found, "cut_deviation_mean") == pytest.approx(1.5, abs=1e-6)  # [C]
    assert number(found, "cut_deviation_max") == pytest.approx(1.5, abs=1e-6)  # [C]
    assert number(found, "cut_bias_outward") == pytest.approx(1.5, abs=1e-6)  # [C]


@checks("C", "concentric discs", "cut_bias_outward", "cut_within_tolerance_share")
@pytest.mark.parametrize(("band_mm", "share"), [(1.4, 0.0), (1.6, 1.0)])
def test_a_disc_cut_too_small_lies_inside_and_within_a_wider_band(
    band_mm: float, share: float
) -> None:
    found = values(circle_mm(30, 4096), circle_mm(28.5, 4096), band_mm=band_mm)
    assert number(found, "cut_bias_outward") == pytest.approx(-1.5, abs=1e-6)  # [C]
    assert number(found, "cut_within_tolerance_share") == share  # [C]


@checks(
    "C",
    "square moved 4 mm along x, side by side",
    "cut_overlap",
    "cut_area_ratio",
    "cut_deviation_mean",
    "cut_deviation_max",
    "cut_bias_outward",
    "cut_within_tolerance_share",
    "cut_corner_miss",
)
def test_a_square_moved_along_x_and_not_laid() -> None:
    found = values(SQUARE, SQUARE + np.array([4, 0]), band_mm=2)
    assert number(found, "cut_overlap") == pytest.approx(36 / 44, abs=1e-9)  # [C]
    assert number(found, "cut_area_ratio") == pytest.approx(1.0, abs=1e-12)  # [C]
    # Inner side (32·4 + 2·8)/40 = 3.6; outer 4; the others 8/40 each, over the last 4 mm.
    assert number(found, "cut_deviation_mean") == pytest.approx(2.0, abs=1e-5)  # [C]
    assert number(found, "cut_bias_outward") == pytest.approx(0.2, abs=1e-5)  # [C]
    assert number(found, "cut_deviation_max") == pytest.approx(4.0, abs=1e-9)  # [C]
    assert number(found, "cut_within_tolerance_share") == pytest.approx(0.5, abs=1e-5)  # [C]
    assert number(found, "cut_corner_miss") == pytest.approx(2.0, abs=1e-9)  # [C] (4+4+0+0)/4


@checks("C", "square turned about its centre", "cut_overlap")
@pytest.mark.parametrize("turn_deg", [5, 10, 30, 45])
def test_overlap_of_a_turned_square(turn_deg: float) -> None:
    angle = np.radians(turn_deg)
    common = 2 / (1 + np.sin(angle) + np.cos(angle))
    centred = SQUARE - 20
    found = values(centred, moved(centred, turn_deg))
    assert number(found, "cut_overlap") == pytest.approx(common / (2 - common), abs=1e-9)  # [C]


@checks(
    "C",
    "a shape laid on itself",
    "cut_overlap",
    "cut_deviation_mean",
    "cut_deviation_max",
    "cut_corner_miss",
    "cut_snip_marks",
)
@pytest.mark.parametrize("shape", [SQUARE, L_SHAPE], ids=["square", "L"])
@pytest.mark.parametrize("turn_deg", [7, 25, -40, 45, 90, 133, 180])
def test_a_moved_and_turned_shape_is_laid_back(shape: FloatArray, turn_deg: float) -> None:
    w = CutWorkings(cut_of(shape, moved(shape, turn_deg, (13, -8)), "best_fit"))
    found = measure_cut(w)
    assert w.fit is not None
    # The design allows 6e-5 mm and 0.99995; exact lines and steps along normals do better.
    assert w.fit.rms_mm <= 1e-8  # [C]
    assert number(found, "cut_overlap") >= 1 - 1e-9  # [C]
    assert number(found, "cut_deviation_mean") <= 1e-8  # [C]
    assert number(found, "cut_deviation_max") <= 1e-7  # [C]
    assert number(found, "cut_corner_miss") <= 1e-7  # [C]
    assert number(found, "cut_snip_marks") == 0  # [C]


@checks("C", "fillet of radius r at a right angle", "cut_area_ratio", "cut_corner_miss")
@pytest.mark.parametrize("kind", ["none", "best_fit"])
@pytest.mark.parametrize("radius_mm", [4, 8])
def test_a_square_with_rounded_corners(radius_mm: float, kind: str) -> None:
    found = values(SQUARE, rounded_square_mm(40, radius_mm), kind)
    lost = (4 - np.pi) * radius_mm**2
    assert 1600 * (1 - number(found, "cut_area_ratio")) == pytest.approx(lost, abs=1e-3)  # [C]
    miss = radius_mm * (np.sqrt(2) - 1)
    assert number(found, "cut_corner_miss") == pytest.approx(miss, abs=1e-3)  # [C]


@checks(
    "C",
    "square cut 2 mm outside, mitred",
    "cut_area_ratio",
    "cut_deviation_mean",
    "cut_deviation_max",
    "cut_bias_outward",
    "cut_within_tolerance_share",
    "cut_corner_miss",
    "cut_snip_marks",
)
@pytest.mark.parametrize("kind", ["none", "best_fit"])
def test_a_square_cut_outside_the_line(kind: str) -> None:
    outside = np.array([[-2.0, -2.0], [42.0, -2.0], [42.0, 42.0], [-2.0, 42.0]])
    found = values(SQUARE, outside, kind, band_mm=2)
    assert number(found, "cut_area_ratio") == pytest.approx(1.21, abs=1e-12)  # [C]
    # Each side: 2 mm over 40 mm, then sqrt(4 + x²) over the last 2 mm at both ends.
    end = np.sqrt(2) + np.arcsinh(1)
    mean = (2 * 40 + 2 * 2 * end) / 44
    assert number(found, "cut_deviation_mean") == pytest.approx(mean, abs=1e-6)  # [C]
    assert number(found, "cut_bias_outward") == pytest.approx(mean, abs=1e-6)  # [C]
    assert number(found, "cut_deviation_max") == pytest.approx(2 * np.sqrt(2), abs=1e-6)  # [C]
    assert number(found, "cut_corner_miss") == pytest.approx(2.0, abs=1e-6)  # [C]
    share = number(found, "cut_within_tolerance_share")
    assert share == pytest.approx(40 / 44, abs=1e-3)  # [C] band and edge coincide to 1e-6 mm
    assert number(found, "cut_snip_marks") == 0  # [C] the corners were asked for


@checks(
    "C",
    "circle cut as straight snips",
    "cut_deviation_mean",
    "cut_deviation_max",
    "cut_area_ratio",
    "cut_snip_marks",
)
@pytest.mark.parametrize("snips", [6, 9, 12])
def test_a_circle_cut_as_straight_snips(snips: int) -> None:
    radius_mm, half = 30.0, np.pi / snips
    outline = circle_mm(radius_mm, snips)
    chord = np.hypot(*(outline[1] - outline[0]))
    assert chord == pytest.approx(2 * radius_mm * np.sin(half), abs=1e-9)  # [C]
    found = values(circle_mm(radius_mm, 2048 * snips), outline)
    sagitta = radius_mm * (1 - np.cos(half))
    assert number(found, "cut_deviation_max") == pytest.approx(sagitta, abs=1e-6)  # [C]
    apothem = radius_mm * np.cos(half)
    mean = quad(lambda x: radius_mm - np.hypot(x, apothem), 0, chord / 2)[0] / (chord / 2)
    assert number(found, "cut_deviation_mean") == pytest.approx(mean, abs=3e-6 * 6 / snips)  # [C]
    ratio = np.sin(2 * half) / (2 * half)
    assert number(found, "cut_area_ratio") == pytest.approx(ratio, abs=1e-6)  # [C]
    assert number(found, "cut_snip_marks") == snips  # [C]


@checks("C", "circle cut as 12 straight snips", "cut_deviation_mean", "cut_deviation_max")
def test_twelve_snips_give_the_values_worked_out_by_hand() -> None:
    found = values(circle_mm(30, 2048 * 12), circle_mm(30, 12))
    assert number(found, "cut_deviation_mean") == pytest.approx(0.679115, abs=1e-6)  # [C]
    assert number(found, "cut_deviation_max") == pytest.approx(1.02223, abs=1e-5)  # [C]
    assert number(found, "cut_area_ratio") == pytest.approx(0.954930, abs=1e-6)  # [C]


@checks("C", "regular polygons turn by 360°/n at each vertex", "cut_snip_marks")
@pytest.mark.parametrize(("snips", "marks"), [(17, 17), (18, 18), (19, 0), (24, 0)])
def test_a_kink_is_a_snip_mark_from_twenty_degrees(snips: int, marks: int) -> None:
    found = values(circle_mm(30, 2000), circle_mm(30, snips))
    assert number(found, "cut_snip_marks") == marks  # [C]


@checks("C", "2 mm / r on an arc", "cut_snip_marks")
@pytest.mark.parametrize(("radius_mm", "seen"), [(5.6, True), (5.9, False)])
def test_an_arc_is_kinked_where_it_turns_twenty_degrees_over_two_millimetres(
    radius_mm: float, seen: bool
) -> None:
    """An ear with a round end sticks out of a square: its end turns 2 mm / r per 2 mm."""
    angle = np.linspace(-np.pi / 2, np.pi / 2, 400)
    end = [60, 20] + radius_mm * np.column_stack([np.cos(angle), np.sin(angle)])
    outline = np.vstack([[[0, 0], [40, 0], [40, 20 - radius_mm]], end, [[40, 20 + radius_mm]]])
    outline = np.vstack([outline, [[40, 40], [0, 40]]])
    marks = number(values(SQUARE, outline), "cut_snip_marks")
    assert (marks > 2) == seen  # [C] 20° at r = 5.73 mm; the ear's two inner corners count
    assert marks == (2 + int(np.pi * radius_mm / 4) if seen else 2)  # [C] one every 4 mm


@checks("C", "atan(h / (2 mm - h)) at a step of height h", "cut_snip_marks")
@pytest.mark.parametrize(("step_mm", "marks"), [(0.50, 0), (0.56, 1), (1.5, 1)])
def test_a_step_to_the_side_is_one_mark(step_mm: float, marks: int) -> None:
    outline = np.array([[0, 0], [20, 0], [20, -step_mm], [40, -step_mm], [40, 40], [0, 40]])
    assert number(values(SQUARE, outline), "cut_snip_marks") == marks  # [C] 20° at 0.534 mm


@checks(
    "C",
    "circle moved by e: d = sqrt(r² + e² + 2 r e cos) - r",
    "cut_bias_outward",
    "cut_deviation_mean",
    "cut_deviation_max",
    "cut_overlap",
)
def test_a_circle_moved_to_the_side() -> None:
    r, e = 40.0, 3.0
    found = values(circle_mm(r, 8192), circle_mm(r, 8192, (e, 0)))
    bias = 2 / np.pi * (r + e) * ellipe(4 * r * e / (r + e) ** 2) - r
    assert number(found, "cut_bias_outward") == pytest.approx(bias, abs=2e-6)  # [C] 0.05627

    def away(angle: float) -> float:
        return abs(np.sqrt(r**2 + e**2 + 2 * r * e * np.cos(angle)) - r)

    mean = quad(away, 0, np.pi, points=[np.arccos(-e / (2 * r))])[0] / np.pi
    assert number(found, "cut_deviation_mean") == pytest.approx(mean, abs=2e-6)  # [C]
    assert number(found, "cut_deviation_max") == pytest.approx(e, abs=1e-5)  # [C]
    lens = 2 * r**2 * np.arccos(e / (2 * r)) - e / 2 * np.sqrt(4 * r**2 - e**2)
    overlap = lens / (2 * np.pi * r**2 - lens)
    assert number(found, "cut_overlap") == pytest.approx(overlap, abs=1e-6)  # [C]


@checks("C", "band that widens from 2 to 6 mm", "cut_within_tolerance_share")
def test_a_band_that_widens_along_the_template() -> None:
    """Half-widths 1 to 3 mm along both long sides; the edge 2 mm outside, so half of it."""
    template = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 40.0], [0.0, 40.0]])
    outline = template + np.array([[-2, -2], [2, -2], [2, 2], [-2, 2]])
    found = values(template, outline, corridor_mm=[2, 6, 6, 2])
    # Long sides from their middle to x = 100, and the right side; corners lie past 2 mm but
    # inside 3 mm as far as sqrt(5) beyond the end, that is all of their 2 mm (to 2.83 mm).
    inside = 2 * (50 + 2) + (40 + 4)
    share = inside / (2 * 104 + 2 * 44)
    assert number(found, "cut_within_tolerance_share") == pytest.approx(share, abs=1e-5)  # [C]


@checks("C", "marks keep a true shift of 4 mm", "cut_overlap", "cut_deviation_max")
@pytest.mark.parametrize("turn_deg", [0, 31, -118])
def test_printed_marks_keep_what_the_child_shifted(turn_deg: float) -> None:
    printed = np.array([[-20.0, -20.0], [120.0, -20.0], [120.0, 80.0]])
    camera = (311.0, -45.0)
    cut = cut_of(
        SQUARE,
        moved(SQUARE + np.array([4, 0]), turn_deg, camera),
        "marks",
        marks_seen_mm=moved(printed, turn_deg, camera),
        marks_printed_mm=printed,
    )
    found = measure_cut(CutWorkings(cut))
    assert number(found, "cut_overlap") == pytest.approx(36 / 44, abs=1e-9)  # [C]
    assert number(found, "cut_deviation_max") == pytest.approx(4.0, abs=1e-9)  # [C]
    row = make_cut_report(CutWorkings(cut))["registration"]
    assert row["turned_deg"] == pytest.approx(-turn_deg, abs=1e-6)  # [C]
    assert row["rms_mm"] == pytest.approx(0, abs=1e-9)  # [C]


@checks("X", "scikit-image EuclideanTransform; scipy orthogonal_procrustes", "cut_deviation_mean")
@pytest.mark.parametrize("seed", range(5))
def test_marks_with_errors_are_laid_as_other_libraries_lay_them(seed: int) -> None:
    rng = np.random.default_rng(seed)
    printed = rng.uniform(-80, 80, (4, 2))
    seen = moved(printed, rng.uniform(-180, 180), (30, 9)) + rng.normal(0, 0.4, (4, 2))
    fit = marks_fit(seen, printed)
    other = EuclideanTransform.from_estimate(seen, printed)
    assert np.sin(fit.rigid.turn_rad - other.rotation) == pytest.approx(0, abs=1e-9)  # [X]
    assert fit.rigid.shift_mm == pytest.approx(other.translation, abs=1e-9)  # [X]
    centred = seen - seen.mean(axis=0), printed - printed.mean(axis=0)
    rotation, _ = orthogonal_procrustes(*centred)
    assert np.linalg.det(rotation) > 0
    assert fit.rigid.matrix == pytest.approx(rotation, abs=1e-9)  # [X]

    template = blob_mm(seed)
    outline = moved(template, 20, (3, 3))
    laid = values(template, outline, "marks", marks_seen_mm=seen, marks_printed_mm=printed)
    by_other = values(template, other(outline))
    mean = number(by_other, "cut_deviation_mean")
    assert number(laid, "cut_deviation_mean") == pytest.approx(mean, abs=1e-9)  # [X]


@checks("X", "scipy orthogonal_procrustes with reflection", "cut_overlap")
def test_a_piece_turned_over_is_not_mirrored_back() -> None:
    flipped = L_SHAPE * [1, 0.6]
    mirrored = flipped * [-1, 1]
    reflection, _ = orthogonal_procrustes(
        mirrored - mirrored.mean(axis=0), flipped - flipped.mean(axis=0)
    )
    assert np.linalg.det(reflection) < 0  # [X] mirroring would fit exactly
    found = rigid_fit(mirrored, flipped)
    assert np.linalg.det(found.matrix) == pytest.approx(1)
    overlap = number(values(flipped, mirrored, "best_fit"), "cut_overlap")
    assert overlap < 0.9


@checks(
    "X",
    "scipy cKDTree and directed_hausdorff on dense points; shapely hausdorff_distance",
    "cut_deviation_mean",
    "cut_deviation_max",
)
@pytest.mark.parametrize("seed", range(2))
def test_distances_agree_with_other_libraries(seed: int) -> None:
    template, outline = blob_mm(seed), blob_mm(seed + 50) + np.array([2, 1])
    found = values(template, outline)
    dense_template, dense_outline = evenly(template, 0.01), evenly(outline, 0.01)
    away, _ = cKDTree(dense_template).query(dense_outline)
    assert number(found, "cut_deviation_mean") == pytest.approx(away.mean(), abs=2e-4)  # [X]
    largest = max(
        directed_hausdorff(dense_outline, dense_template)[0],
        directed_hausdorff(dense_template, dense_outline)[0],
    )
    assert number(found, "cut_deviation_max") == pytest.approx(largest, abs=5e-3)  # [X]
    rings = LinearRing(template), LinearRing(outline)
    other = shapely_hausdorff(*rings, densify=1e-3)
    assert number(found, "cut_deviation_max") == pytest.approx(other, abs=5e-3)  # [X]


@checks("X", "scikit-image polygon2mask, pixels of 0.1 mm", "cut_overlap", "cut_area_ratio")
@pytest.mark.parametrize("seed", range(3))
def test_areas_agree_with_counted_pixels(seed: int) -> None:
    template, outline = blob_mm(seed, 90), blob_mm(seed + 20, 90) + np.array([3, -2])
    found = values(template, outline)
    masks = [polygon2mask((1300, 1300), (line + 65) / 0.1) for line in (template, outline)]
    overlap = (masks[0] & masks[1]).sum() / (masks[0] | masks[1]).sum()
    assert number(found, "cut_overlap") == pytest.approx(overlap, abs=1e-3)  # [X]
    ratio = masks[1].sum() / masks[0].sum()
    assert number(found, "cut_area_ratio") == pytest.approx(ratio, abs=1e-3)  # [X]


def uneven_snips_mm(seed: int) -> FloatArray:
    """Ten straight cuts round a circle of 40 mm, each turning by 25 to 47° at its end."""
    gaps_deg = np.random.default_rng(seed).uniform(27, 44, 10)
    angle = np.radians(np.cumsum(gaps_deg * 360 / gaps_deg.sum()))
    return 40 * np.column_stack([np.cos(angle), np.sin(angle)])


@checks("X", "scikit-image approximate_polygon", "cut_snip_marks")
@pytest.mark.parametrize("seed", range(4))
def test_snip_marks_of_a_digitised_edge_are_the_vertices_another_library_keeps(seed: int) -> None:
    outline = densely(uneven_snips_mm(seed), 0.4)
    kept = approximate_polygon(np.vstack([outline, outline[:1]]), tolerance=0.25)
    found = values(circle_mm(40, 720), outline)
    assert number(found, "cut_snip_marks") == len(kept) - 1 == 10  # [X]


@checks("C", "ten known snips, noise of 0.05 mm, 3.5° (SD) of turn", "cut_snip_marks")
@pytest.mark.parametrize("spacing_mm", [0.4, 0.6, 1.0])
@pytest.mark.parametrize("seed", range(4))
def test_snip_marks_are_counted_through_the_noise_of_a_photograph(
    seed: int, spacing_mm: float
) -> None:
    rng = np.random.default_rng(seed)
    outline = densely(circle_mm(40, 10), spacing_mm)
    outline = outline + rng.normal(0, 0.05, outline.shape)
    for kind in ("none", "best_fit"):
        found = values(circle_mm(40, 720), outline, kind)
        assert number(found, "cut_snip_marks") == 10  # [C]


@checks("X", "scipy minimize (Nelder-Mead) from many starts", "cut_deviation_mean")
@pytest.mark.parametrize("seed", range(2))
def test_no_other_search_finds_a_better_fit(seed: int) -> None:
    rng = np.random.default_rng(seed)
    template = blob_mm(seed, 120)
    outline = moved(blob_mm(seed, 120) * [1.05, 0.97], rng.uniform(-180, 180), (20, -5))
    outline = outline + np.column_stack([np.sin(outline[:, 1] / 4), np.zeros(len(outline))])
    w = CutWorkings(cut_of(template, outline, "best_fit"))
    assert w.fit is not None
    tree = cKDTree(evenly(template, 0.02))
    dense = evenly(outline, 0.5)

    def rms(pose: FloatArray) -> float:
        away, _ = tree.query(moved(dense, float(pose[0]), (float(pose[1]), float(pose[2]))))
        return float(np.sqrt((away**2).mean()))

    least = np.inf
    for start_deg in range(0, 360, 45):
        shift = template.mean(axis=0) - moved(outline, start_deg).mean(axis=0)
        found = minimize(rms, [start_deg, *shift], method="Nelder-Mead")
        least = min(least, float(found.fun))
    ours = rms(np.array([w.fit.rigid.turn_deg, *w.fit.rigid.shift_mm]))
    assert ours <= least + 1e-3  # [X]
    assert w.fit.rms_mm == pytest.approx(least, abs=5e-3)  # [X]
    mean = number(measure_cut(w), "cut_deviation_mean")
    laid = moved(dense, w.fit.rigid.turn_deg, tuple(w.fit.rigid.shift_mm))
    assert mean == pytest.approx(tree.query(laid)[0].mean(), abs=1e-3)  # [X]
