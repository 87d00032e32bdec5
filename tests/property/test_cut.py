"""Whatever the outline, every measure is one finite number or one reason; and physics."""

import json
import math
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.cut import Cut
from analysis.cut_workings import CutWorkings
from analysis.guide import Part
from analysis.measures_cut import CUT_MEASURES
from analysis.registry import measure, measure_cut, reasons_of
from analysis.report_cut import make_cut_report
from analysis.trace import FloatArray
from analysis.value import Value
from tests.outlines import (
    L_SHAPE,
    SQUARE,
    blob_mm,
    circle_mm,
    densely,
    moved,
    number,
    values,
)

TEMPLATES = [
    Part(SQUARE, closed=True, corridor_mm=6),
    Part(L_SHAPE, closed=True),
    Part(circle_mm(30, 60), closed=True, corridor_mm=np.linspace(2, 8, 60)),
    Part([[0, 0], [100, 0]]),
]
MARKS = np.array([[-10.0, -10.0], [70.0, -10.0], [70.0, 70.0]])

near = st.floats(-60, 100, allow_nan=False)
any_number = st.floats(allow_nan=False, allow_infinity=False)
few = st.sampled_from([0.0, 10.0, 20.0, 40.0])
points = st.one_of(
    st.lists(st.tuples(near, near), max_size=12),
    st.lists(st.tuples(few, few), max_size=8),
    st.lists(st.tuples(any_number, any_number), max_size=6),
)


def check(cut: Cut) -> None:
    w = CutWorkings(cut)
    found = measure_cut(w)
    assert list(found) == [entry.id for entry in CUT_MEASURES]
    for name, value in found.items():
        check_value(name, value)
    json.dumps(make_cut_report(w), allow_nan=False)


def check_value(name: str, value: Value) -> None:
    if value.number is None:
        assert value.reason in reasons_of(measure(name))
        return
    assert math.isfinite(value.number)
    if name != "cut_bias_outward":
        assert value.number >= 0
    if name.endswith("_share") or name == "cut_overlap":
        assert value.number <= 1


@settings(max_examples=100, deadline=None, derandomize=True)
@given(
    outline=points,
    which=st.integers(0, 3),
    kind=st.sampled_from(["none", "best_fit", "marks"]),
    calibrated=st.sampled_from([True, True, True, False]),
)
def test_any_outline_gives_a_value_or_a_reason(
    outline: list[tuple[float, float]], which: int, kind: str, calibrated: bool
) -> None:
    xy_mm = np.array(outline).reshape(-1, 2)
    seen = moved(MARKS, 10, (3, 3))
    check(
        Cut(
            "c",
            TEMPLATES[which],
            xy_mm,
            registration=kind,  # type: ignore[arg-type]
            marks_seen_mm=seen,
            marks_printed_mm=MARKS,
            calibrated=calibrated,
        )
    )


@settings(max_examples=25, deadline=None, derandomize=True)
@given(
    radius=st.lists(st.floats(5, 80), min_size=3, max_size=40),
    which=st.integers(0, 2),
    kind=st.sampled_from(["none", "best_fit"]),
)
def test_any_starlike_outline_gives_a_value_or_is_too_small(
    radius: list[float], which: int, kind: str
) -> None:
    angle = np.arange(len(radius)) * 2 * np.pi / len(radius)
    xy_mm = np.array(radius)[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    check(Cut("c", TEMPLATES[which], xy_mm, registration=kind, calibrated=True))  # type: ignore[arg-type]


def agree(first: dict[str, Value], second: dict[str, Value], within: float) -> None:
    for name in first:
        assert first[name].reason == second[name].reason, name
        if first[name].number is not None:
            assert number(first, name) == pytest.approx(number(second, name), abs=within), name


@cache
def of_rough(seed: int, kind: str) -> dict[str, Value]:
    """Values of a rough outline as it is: the same seeds come again and again."""
    return values(*rough(seed), kind, band_mm=1)


def rough(seed: int) -> tuple[FloatArray, FloatArray]:
    """Template with corners or without, and an outline cut roughly along it in short pieces."""
    template = L_SHAPE if seed % 2 else blob_mm(seed, 40)
    rng = np.random.default_rng(seed)
    sharp = densely(template, 7.0)
    return template, sharp + rng.uniform(-1.2, 1.2, sharp.shape)


@settings(max_examples=10, deadline=None, derandomize=True)
@given(
    seed=st.integers(0, 50),
    turn_deg=st.floats(-180, 180),
    dx=st.floats(-300, 300),
    dy=st.floats(-300, 300),
)
def test_after_the_best_fit_it_does_not_matter_how_the_piece_was_photographed(
    seed: int, turn_deg: float, dx: float, dy: float
) -> None:
    template, outline = rough(seed)
    plain = of_rough(seed, "best_fit")
    turned = values(template, moved(outline, turn_deg, (dx, dy)), "best_fit", band_mm=1)
    # Mostly 1e-9; neighbouring lowest points may differ by 1e-6 mm in RMS, by 1e-3 in place.
    agree(plain, turned, 5e-3)


@settings(max_examples=10, deadline=None, derandomize=True)
@given(seed=st.integers(0, 50), first=st.integers(0, 30), backwards=st.booleans())
@pytest.mark.parametrize("kind", ["none", "best_fit"])
def test_where_the_outline_begins_and_which_way_it_runs_changes_nothing(
    kind: str, seed: int, first: int, backwards: bool
) -> None:
    template, outline = rough(seed)
    other = np.roll(outline, first, axis=0)[:: -1 if backwards else 1]
    agree(
        of_rough(seed, kind),
        values(template, other, kind, band_mm=1),
        1e-9 if kind == "none" else 1e-4,
    )


@settings(max_examples=8, deadline=None, derandomize=True)
@given(seed=st.integers(0, 50), turn_deg=st.floats(-180, 180))
@pytest.mark.parametrize("reversed_", [False, True])
def test_mirroring_and_turning_template_and_outline_together_changes_nothing(
    reversed_: bool, seed: int, turn_deg: float
) -> None:
    template, outline = rough(seed)
    flip = np.array([-1.0, 1.0])
    other = moved(template * flip, turn_deg, (5, 7)), moved(outline * flip, turn_deg, (5, 7))
    if reversed_:
        other = other[0][::-1], other[1]
    agree(of_rough(seed, "none"), values(*other, band_mm=1), 2e-5)


@settings(max_examples=8, deadline=None, derandomize=True)
@given(seed=st.integers(0, 50), spacing_mm=st.floats(0.05, 3))
@pytest.mark.parametrize("kind", ["none", "best_fit"])
def test_points_added_on_the_outline_change_nothing(
    kind: str, seed: int, spacing_mm: float
) -> None:
    template, outline = rough(seed)
    denser = densely(outline, spacing_mm)
    first, second = dict(of_rough(seed, kind)), values(template, denser, kind, band_mm=1)
    # Kinks that crowd within 4 mm may tip the count: see the next test.
    assert first.pop("cut_snip_marks").reason == second.pop("cut_snip_marks").reason
    agree(first, second, 1e-4 if kind == "none" else 5e-3)


@settings(max_examples=12, deadline=None, derandomize=True)
@given(gaps=st.lists(st.floats(1.0, 1.6), min_size=8, max_size=10), spacing_mm=st.floats(0.05, 3))
def test_points_added_between_snips_change_no_count(gaps: list[float], spacing_mm: float) -> None:
    angle = np.cumsum(gaps) / np.sum(gaps) * 2 * np.pi
    outline = 40 * np.column_stack([np.cos(angle), np.sin(angle)])
    for one in (outline, densely(outline, spacing_mm)):
        assert number(values(circle_mm(40, 360), one), "cut_snip_marks") == len(gaps)


@settings(max_examples=8, deadline=None, derandomize=True)
@given(scale=st.floats(0.6, 1.6))
def test_a_scaled_shape_is_larger_by_the_square_and_lies_inside_or_outside(scale: float) -> None:
    outline = blob_mm(2) * scale
    found = values(blob_mm(2), outline)
    assert number(found, "cut_area_ratio") == pytest.approx(scale**2)
    share = min(scale, 1 / scale) ** 2
    assert number(found, "cut_overlap") == pytest.approx(share)
    assert np.sign(number(found, "cut_bias_outward")) == np.sign(round(scale - 1, 12))
    mean = number(found, "cut_deviation_mean")
    assert abs(number(found, "cut_bias_outward")) == pytest.approx(mean)


@settings(max_examples=10, deadline=None, derandomize=True)
@given(seed=st.integers(0, 50), turn_deg=st.floats(-20, 20), shift=st.floats(-6, 6))
def test_the_best_fit_never_lies_farther_off_than_the_outline_as_it_came(
    seed: int, turn_deg: float, shift: float
) -> None:
    template, outline = rough(seed)
    placed = moved(outline, turn_deg, (shift, -shift))
    fit = CutWorkings(
        Cut("c", Part(template, closed=True), placed, registration="best_fit", calibrated=True)
    )
    asis = CutWorkings(
        Cut("c", Part(template, closed=True), placed, registration="none", calibrated=True)
    )
    assert fit.fit is not None
    as_it_came = np.sqrt(np.average(asis.edge.d_mm**2, weights=asis.edge.cell_mm))
    assert fit.fit.rms_mm <= as_it_came + 1e-3  # 4096 points against 16 384
