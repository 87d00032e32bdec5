"""Alignment of traces whose truth is known, beside nearest-point matching."""

from itertools import pairwise

import numpy as np
import pytest

from analysis import shapes
from analysis.alignment import align
from analysis.guide import Guide
from analysis.registry import measure_all
from analysis.workings import Workings
from tests.checked import checks
from tests.hard_guides import (
    RANDOM_GUIDES,
    WRONG_MM,
    aligned_error,
    error_mm,
    figure_eight,
    hairpin,
    nearest_s_mm,
    random_trace,
    spiral,
)
from tests.known import beside, trial, wavy


def test_spiral_length_is_closed_form() -> None:
    assert spiral().length_mm == pytest.approx(359.8296, abs=1e-3)  # [C] quadrature


@pytest.mark.parametrize("amplitude_mm", [2, 4, 6, 7])
def test_spiral_is_followed_lobe_by_lobe(amplitude_mm: float) -> None:
    guide = spiral()
    error = aligned_error(guide, wavy(guide, amplitude_mm))
    # The truth is the foot of the offset; the aligned foot differs where the offset curves.
    assert error.max() < 0.6  # [N] prototype 0.05-2.94
    assert not (error > WRONG_MM).any()


def test_nearest_point_is_wrong_on_the_same_spiral() -> None:
    guide = spiral()
    known = wavy(guide, 6)
    wrong = error_mm(guide, nearest_s_mm(guide, known.xy_mm), known.s_mm) > WRONG_MM
    assert wrong.mean() > 0.15


@pytest.mark.parametrize("amplitude_mm", [2, 5, 7, 9])
def test_hairpin_is_followed_leg_by_leg(amplitude_mm: float) -> None:
    guide = hairpin()
    assert aligned_error(guide, wavy(guide, amplitude_mm)).max() < 0.3


@pytest.mark.parametrize("amplitude_mm", [2, 4, 6])
@pytest.mark.parametrize("backwards", [False, True])
def test_figure_eight_is_followed_through_its_crossing(
    amplitude_mm: float, backwards: bool
) -> None:
    guide = figure_eight()
    known = wavy(guide, amplitude_mm, backwards=backwards)
    found = align(guide, known.xy_mm, np.zeros(len(known.t_s), dtype=int))
    true_s_mm = guide.length_mm - known.s_mm if backwards else known.s_mm
    assert found.other_way is backwards
    assert error_mm(guide, found.s_mm, true_s_mm).max() < 0.2


def test_pause_on_a_crossing_stays_on_its_lobe() -> None:
    guide, rng = figure_eight(), np.random.default_rng(4)
    crossing_s_mm = guide.length_mm / 2
    still = np.full(480, crossing_s_mm)
    s_mm = np.concatenate(
        [
            np.linspace(0, crossing_s_mm, 460),
            still,
            np.linspace(crossing_s_mm, guide.length_mm, 460),
        ]
    )
    xy_mm = guide.point_at(s_mm) + rng.normal(0, 0.05, (len(s_mm), 2))
    found = align(guide, xy_mm, np.zeros(len(s_mm), dtype=int))
    assert error_mm(guide, found.s_mm, s_mm).max() < 1.0
    wrong = error_mm(guide, nearest_s_mm(guide, xy_mm), s_mm) > WRONG_MM
    assert wrong.any()


@pytest.mark.parametrize("guide", [spiral(), figure_eight()], ids=["spiral", "figure-eight"])
def test_back_track_has_its_true_length(guide: Guide) -> None:
    length = guide.length_mm
    stops = np.array([0, 0.6, 0.45, 0.999]) * length
    s_mm = np.concatenate([np.linspace(a, b, 600) for a, b in pairwise(stops)])
    found = align(guide, guide.point_at(s_mm), np.zeros(len(s_mm), dtype=int))
    assert found.backtrack_mm == pytest.approx(0.15 * length, abs=0.01)  # [C]


@checks("C", "a spiral of which 15 % were skipped with the pen up", "completion")
def test_lift_and_skip_leaves_a_hole_of_the_skipped_length() -> None:
    guide = spiral()
    s_mm = np.concatenate(
        [np.linspace(0, 150, 400), np.linspace(150 + 0.15 * guide.length_mm, guide.length_mm, 400)]
    )
    stroke = np.repeat([0, 1], 400)
    found = align(guide, guide.point_at(np.minimum(s_mm, guide.length_mm - 1e-9)), stroke)
    assert error_mm(guide, found.s_mm, s_mm).max() < 0.1
    assert found.completion == pytest.approx(0.85, abs=0.002)  # [C]
    xy_mm = guide.point_at(np.minimum(s_mm, guide.length_mm - 1e-9))
    value = measure_all(Workings(trial(guide, xy_mm, None, stroke)))["completion"]
    assert value.number == pytest.approx(0.85, abs=0.002)  # [C]


def test_lift_and_restart_counts_the_line_once() -> None:
    guide = spiral()
    s_mm = np.concatenate([np.linspace(0, 200, 400), np.linspace(0, guide.length_mm - 1e-9, 800)])
    found = align(guide, guide.point_at(s_mm), np.repeat([0, 1], [400, 800]))
    assert error_mm(guide, found.s_mm, s_mm).max() < 0.1
    assert found.completion == pytest.approx(1.0, abs=1e-3)
    assert found.restarts().tolist() == [400]


def test_spiral_traced_the_other_way_is_mirrored() -> None:
    guide = spiral()
    s_mm = np.linspace(guide.length_mm - 1e-9, 0, 900)
    found = align(guide, beside(guide, s_mm, np.full(900, 2.0)), np.zeros(900, dtype=int))
    assert found.other_way
    assert error_mm(guide, found.s_mm, guide.length_mm - s_mm).max() < 0.5
    # Left of the asked direction is right of the direction travelled.
    assert np.median(found.d_mm) == pytest.approx(-2.0, abs=0.01)  # [C]


def test_short_cut_across_a_hairpin_is_one_jump() -> None:
    guide = hairpin()
    x_mm = np.linspace(0, 90, 300)
    y_mm = np.linspace(0, 12, 40)
    xy_mm = np.vstack(
        [
            np.column_stack([x_mm, 0 * x_mm]),
            np.column_stack([0 * y_mm + 90, y_mm]),
            np.column_stack([x_mm[::-1], 0 * x_mm + 12]),
        ]
    )
    found = align(guide, xy_mm, np.zeros(len(xy_mm), dtype=int))
    assert np.count_nonzero(found.jump) == 1
    at = int(np.flatnonzero(found.jump)[0])
    leap_mm = found.s_mm[at + 1] - found.s_mm[at]
    assert leap_mm == pytest.approx(60 + 6 * np.pi, abs=1.0)  # [C]
    assert found.completion == pytest.approx(180 / guide.length_mm, abs=0.005)  # [C]


def test_loop_tangent_to_a_line_goes_back_by_its_diameter() -> None:
    guide = Guide.from_points([[0, 0], [200, 0]])
    before, after = np.linspace(0, 100, 300), np.linspace(100, 200, 300)
    angle = np.linspace(0, 2 * np.pi, 400)
    loop = np.column_stack([100 + 10 * np.sin(angle), 10 * (1 - np.cos(angle))])
    xy_mm = np.vstack(
        [np.column_stack([before, 0 * before]), loop, np.column_stack([after, 0 * after])]
    )
    found = align(guide, xy_mm, np.zeros(len(xy_mm), dtype=int))
    assert np.abs(found.d_mm).max() == pytest.approx(20.0, abs=0.01)  # [C]
    assert found.backtrack_mm == pytest.approx(20.0, abs=0.01)  # [C]


@pytest.mark.parametrize("radius_mm", [2.0, 5.0, 10.0, 15.0])
def test_rounded_corners_of_a_square(radius_mm: float) -> None:
    guide = Guide.from_points([[0, 0], [60, 0], [60, 60], [0, 60]], closed=True)
    side = np.linspace(radius_mm, 60 - radius_mm, 200)
    turn = np.linspace(-np.pi / 2, 0, 201)  # odd, so that the farthest point is a sample
    r = radius_mm
    corner = np.column_stack([60 - r + r * np.cos(turn), r + r * np.sin(turn)])
    edge = np.vstack([np.column_stack([side, 0 * side]), corner])
    parts = []
    for quarter in range(4):
        c, s = np.cos(quarter * np.pi / 2), np.sin(quarter * np.pi / 2)
        parts.append((edge - 30) @ np.array([[c, s], [-s, c]]) + 30)
    xy_mm = np.vstack(parts)
    found = align(guide, xy_mm, np.zeros(len(xy_mm), dtype=int))
    truth_mm = r * (1 - 1 / np.sqrt(2))
    assert np.abs(found.d_mm).max() == pytest.approx(truth_mm, abs=0.03)  # [C]
    assert found.completion == pytest.approx(1.0, abs=1e-6)
    step_mm = np.diff(found.s_mm).max()
    assert step_mm == pytest.approx(2 * truth_mm, abs=0.5)  # [C] less than one sample off


def test_overrun_corners_are_no_back_track() -> None:
    corners = np.array([[0, 0], [60, 0], [60, 60], [0, 60], [0, 0]], float)
    guide = Guide.from_points(corners[:-1], closed=True)
    pieces = []
    for start, end in pairwise(corners):
        over = end + 6 * (end - start) / 60
        pieces += [np.linspace(start, over, 200), np.linspace(over, end, 30)]
    xy_mm = np.vstack(pieces)
    found = align(guide, xy_mm, np.zeros(len(xy_mm), dtype=int))
    assert np.abs(found.d_mm).max() == pytest.approx(6.0, abs=1e-9)  # [C]
    assert found.backtrack_mm == 0
    assert found.s_mm[-1] / guide.length_mm == pytest.approx(1.0, abs=1e-6)


@checks("C", "two laps of a circle, and 0.4992 of one", "completion")
@pytest.mark.parametrize(("laps", "progress"), [(2.0, 2.0), (0.4992, 0.4992)])
def test_laps_of_a_circle(laps: float, progress: float) -> None:
    guide = Guide.from_points(shapes.circle(40), closed=True)
    s_mm = np.linspace(0, laps * guide.length_mm, 2000)
    found = align(guide, guide.point_at(s_mm), np.zeros(2000, dtype=int))
    assert found.s_mm[-1] / guide.length_mm == pytest.approx(progress, abs=1e-3)  # [C]
    assert found.completion == pytest.approx(min(1.0, laps), abs=1e-3)
    value = measure_all(Workings(trial(guide, guide.point_at(s_mm), None)))["completion"]
    assert value.number == pytest.approx(min(1.0, laps), abs=1e-3)  # [C]


@pytest.mark.parametrize("name", RANDOM_GUIDES)
def test_no_random_trace_of_sixty_lands_on_a_wrong_lobe(name: str) -> None:
    guide, most_mm = RANDOM_GUIDES[name]
    rng = np.random.default_rng(20260303)
    wrong = 0
    for _ in range(60):
        known = random_trace(guide, most_mm, rng)
        wrong += (aligned_error(guide, known) > WRONG_MM).mean() > 0.01
    assert wrong == 0
