"""Whatever the trace, every measure is one finite number or one reason; and physics."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis import shapes
from analysis.guide import Guide
from analysis.registry import MEASURES, measure_all
from analysis.report import make_report
from analysis.trace import FloatArray
from analysis.value import REASONS, Value
from analysis.workings import Workings
from tests.known import trial, wavy

GUIDES = [
    Guide.from_points(shapes.half_ellipse(180, 85), corridor_mm=12, midline_x_mm=90),
    Guide.from_points(shapes.circle(40), closed=True, corridor_mm=8, midline_x_mm=0),
    Guide.from_points(shapes.zigzag(22.5, 35, 8), corridor_mm=18),
    Guide.from_points([[0, 0], [100, 0]]),
]

coordinate = st.floats(-1e4, 1e4, allow_nan=False)
sample = st.tuples(st.floats(-1e6, 1e9), coordinate, coordinate, st.integers(0, 20))


@settings(max_examples=150, deadline=None, derandomize=True)
@given(samples=st.lists(sample, max_size=60), which=st.integers(0, 3), calibrated=st.booleans())
def test_any_samples_give_a_value_or_a_reason(
    samples: list[tuple[float, float, float, int]], which: int, calibrated: bool
) -> None:
    t_s = np.array([s[0] for s in samples]) / 1000
    xy_mm = np.array([[s[1], s[2]] for s in samples]).reshape(-1, 2)
    stroke = np.array([s[3] for s in samples], dtype=np.int64)
    w = Workings(trial(GUIDES[which], xy_mm, t_s, stroke))
    check_all(measure_all(w))
    make_report(w)


def check_all(found: dict[str, Value]) -> None:
    assert list(found) == [m.id for m in MEASURES if "trace" in m.modes]
    for value in found.values():
        assert (value.number is None) == (value.reason in REASONS)
        assert value.number is None or math.isfinite(value.number)


def found_for(guide: Guide, xy_mm: FloatArray, t_s: FloatArray) -> dict[str, Value]:
    return measure_all(Workings(trial(guide, xy_mm, t_s)))


def rigid(
    guide: Guide, xy_mm: FloatArray, turn_deg: float, shift: FloatArray
) -> tuple[Guide, FloatArray]:
    angle = np.radians(turn_deg)
    matrix = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    part = guide.parts[0]
    moved = Guide.from_points(
        part.points_mm @ matrix + shift, closed=part.closed, corridor_mm=part.corridor_mm
    )
    return moved, xy_mm @ matrix + shift


@settings(max_examples=25, deadline=None, derandomize=True)
@given(turn_deg=st.floats(-180, 180), dx=st.floats(-100, 100), dy=st.floats(-100, 100))
@pytest.mark.parametrize("which", [0, 1, 2])
def test_moving_and_turning_the_page_changes_nothing(
    which: int, turn_deg: float, dx: float, dy: float
) -> None:
    guide = GUIDES[which]
    known = wavy(guide, 3.0, wavelength_mm=47)
    plain = found_for(guide, known.xy_mm, known.t_s)
    moved = found_for(*rigid(guide, known.xy_mm, turn_deg, np.array([dx, dy])), known.t_s)
    for entry in MEASURES:
        if entry.family == "Midline":
            continue
        before, after = plain[entry.id], moved[entry.id]
        assert before.reason == after.reason, entry.id
        if before.number is not None:
            assert after.number == pytest.approx(before.number, rel=2e-3, abs=2e-3), entry.id


@pytest.mark.parametrize("which", [0, 1, 2])
def test_a_mirror_swaps_left_and_right(which: int) -> None:
    guide = GUIDES[which]
    known = wavy(guide, 3.0, wavelength_mm=200)
    part = guide.parts[0]
    flip = np.array([-1.0, 1.0])
    mirrored = Guide.from_points(
        part.points_mm * flip, closed=part.closed, corridor_mm=part.corridor_mm
    )
    plain, swapped = (
        found_for(guide, known.xy_mm, known.t_s),
        found_for(mirrored, known.xy_mm * flip, known.t_s),
    )
    assert swapped["deviation_bias"].number == pytest.approx(
        -(plain["deviation_bias"].number or 0), abs=1e-6
    )
    for name in ("deviation_mean_abs", "deviation_max", "in_corridor_share", "departure_count"):
        assert swapped[name].number == pytest.approx(plain[name].number, abs=1e-6)


def test_half_the_speed_doubles_times_and_leaves_geometry() -> None:
    guide = GUIDES[0]
    known = wavy(guide, 3.0, rate_hz=240)
    fast, slow = (
        found_for(guide, known.xy_mm, known.t_s),
        found_for(guide, known.xy_mm, 2 * known.t_s),
    )
    for name in ("duration", "pen_down_time", "moving_time"):
        assert slow[name].number == pytest.approx(2 * (fast[name].number or 0), rel=1e-6)
    assert slow["speed_mean"].number == pytest.approx(
        (fast["speed_mean"].number or 0) / 2, rel=0.01
    )
    for name in ("deviation_mean_abs", "completion", "area_between", "in_corridor_share"):
        assert slow[name].number == pytest.approx(fast[name].number, rel=1e-9)


def test_samples_added_on_the_trace_change_no_distance() -> None:
    guide = GUIDES[3]  # straight: on a bend the middle of a chord may lie farther off
    known = wavy(guide, 3.0)
    middle = (known.xy_mm[:-1] + known.xy_mm[1:]) / 2
    dense = np.empty((2 * len(known.xy_mm) - 1, 2))
    dense[::2], dense[1::2] = known.xy_mm, middle
    t_s = np.linspace(0, known.t_s[-1], len(dense))
    plain, more = found_for(guide, known.xy_mm, known.t_s), found_for(guide, dense, t_s)
    assert (more["deviation_max"].number or 0) <= (plain["deviation_max"].number or 0) + 1e-9
    assert more["deviation_mean_abs"].number == pytest.approx(
        plain["deviation_mean_abs"].number, rel=2e-3
    )
