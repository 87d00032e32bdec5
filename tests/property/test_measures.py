"""Whatever the trace, every measure is one finite number or one reason it may give."""

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis import shapes
from analysis.guide import Guide, Part, Target
from analysis.registry import TRIAL_MEASURES, measure_all, reasons_of
from analysis.report import make_report
from analysis.trace import FloatArray, IntArray, Trace
from analysis.trial import MODES, Condition, Device, Mark, Mode, Trial
from analysis.value import REASONS
from analysis.workings import Workings

DOTS = tuple(Target(20.0 + 25.0 * k, 40.0 + 30.0 * (k % 2), 4.0, k) for k in range(7))
TO_AND_FRO = tuple(Target(40.0 + 60.0 * (k % 2), 50.0, 5.0, k) for k in range(12))


def _beside(points_mm: FloatArray, away_mm: float) -> Guide:
    """The same line twice, side by side, for two hands."""
    parts = [Part(points_mm + np.array([dx, 0.0]), False, np.array(10.0)) for dx in (0.0, away_mm)]
    return Guide(parts, midline_x_mm=90.0)


GUIDES: dict[str, Guide | None] = {
    "none": None,
    "bridge": Guide.from_points(shapes.half_ellipse(180, 85), corridor_mm=12, midline_x_mm=90),
    "circle": Guide.from_points(shapes.circle(40), closed=True, corridor_mm=8, midline_x_mm=0),
    "zigzag": Guide.from_points(shapes.zigzag(22.5, 35, 8), corridor_mm=18),
    "line": Guide.from_points([[0, 0], [100, 0]]),
    "speck": Guide.from_points([[0, 0], [1e-6, 0]], corridor_mm=1, midline_x_mm=0),
    "there and back": Guide.from_points([[0, 0], [90, 0], [0, 0]], corridor_mm=[1, 2, 3]),
    "two waves": _beside(shapes.sine(160, 12, 4), 10.0),
    "three lines": Guide([Part(shapes.line(60) + k * 20.0) for k in range(3)], midline_x_mm=30.0),
    "dots": Guide(targets=DOTS),
    "to and fro": Guide(targets=TO_AND_FRO),
    "one dot": Guide(targets=DOTS[:1]),
    "dots in one place": Guide((Part([[0, 0], [9, 9]]),), targets=(DOTS[0],) * 6),
}


@dataclass(frozen=True, eq=False)
class Samples:
    """Columns of a trace."""

    t_s: FloatArray
    xy_mm: FloatArray
    stroke: IntArray


def even(count: int, rate_hz: float, xy_mm: FloatArray, strokes: int = 1) -> Samples:
    stroke = (np.arange(count) * strokes // max(1, count)).astype(np.int64)
    return Samples(np.arange(count) / rate_hz + 0.3 * stroke, xy_mm, stroke)


def walk(count: int, seed: int = 1, step_mm: float = 0.5) -> FloatArray:
    steps = np.random.default_rng(seed).normal(0, step_mm, (count, 2))
    return np.array([60.0, 40.0]) + np.cumsum(steps, axis=0)


def onward(count: int) -> FloatArray:
    """Along and beside most of the guides."""
    share = np.linspace(0, 1, count)
    return np.column_stack([180 * share, 40 - 30 * np.sin(np.pi * share)])


KINDS: dict[str, Samples] = {
    "empty": even(0, 1.0, np.empty((0, 2))),
    "one sample": even(1, 1.0, walk(1)),
    "two at one time": Samples(np.zeros(2), walk(2), np.zeros(2, dtype=np.int64)),
    "all at one point": even(300, 120.0, np.full((300, 2), 40.0)),
    "all at one point and time": Samples(np.zeros(50), np.zeros((50, 2)), np.arange(50) // 25),
    "huge": even(120, 60.0, 1e6 * walk(120)),
    "minute": even(300, 120.0, 1e-9 * walk(300)),
    "reversed times": replace(even(300, 120.0, onward(300)), t_s=-np.arange(300) / 120.0),
    "10 Hz": even(60, 10.0, onward(60)),
    "60 Hz": even(300, 60.0, onward(300) + 0.3 * walk(300, 3, 0.1)),
    "1 kHz": even(2000, 1000.0, onward(2000)),
    "20 strokes": even(600, 120.0, onward(600), strokes=20),
    "stroke for each sample": even(60, 60.0, onward(60), strokes=60),
    "a year long": even(200, 1e-6, onward(200)),
    "lattice": even(400, 120.0, np.round(onward(400))),
    "wild walk": even(500, 240.0, walk(500, 2, 20.0)),
}


def columns(samples: Samples, pressure: str, pointer: str, timed: bool) -> Trace:
    """A trace of the samples with columns of pressure and contact of some kind."""
    count = len(samples.t_s)
    share = np.linspace(0, 1, count)
    read = {
        "none": None,
        "missing": np.full(count, np.nan),
        "gappy": np.where(np.arange(count) % 7 == 0, np.nan, 0.4 + 0.3 * np.sin(40 * share)),
        "constant": np.full(count, 0.5),
        "saturated": np.minimum(1.0, 0.9 + 0.5 * share),
        "zero": np.zeros(count),
        "wavy": 0.5 + 0.4 * np.sin(90 * share),
    }[pressure]
    contact = {
        "none": None,
        "first": np.zeros(count, dtype=np.int64),
        "second": np.ones(count, dtype=np.int64),
        "halves": (np.arange(count) >= count // 2).astype(np.int64),
        "in turn": np.arange(count, dtype=np.int64) % 2,
    }[pointer]
    stroke = samples.stroke if contact is None else 2 * samples.stroke + contact
    return Trace(
        xy_mm=samples.xy_mm,
        t_s=samples.t_s if timed else None,
        stroke=stroke,
        pressure=read,
        pointer=contact,
    )


PRESSURES = ("none", "missing", "gappy", "constant", "saturated", "zero", "wavy")
POINTERS = ("none", "first", "second", "halves", "in turn")
coordinate = st.one_of(st.floats(-1e4, 1e4), st.floats(-200, 200), st.sampled_from([0.0, 40.0]))
sample = st.tuples(
    st.one_of(st.floats(-1e6, 1e9), st.floats(0, 5000)), coordinate, coordinate, st.integers(0, 20)
)


def from_rows(rows: list[tuple[float, float, float, int]]) -> Samples:
    return Samples(
        t_s=np.array([row[0] for row in rows]) / 1000,
        xy_mm=np.array([[row[1], row[2]] for row in rows]).reshape(-1, 2),
        stroke=np.array([row[3] for row in rows], dtype=np.int64),
    )


def attempt(mode: Mode, trace: Trace, guide: Guide | None, **changes: object) -> Trial:
    fields: dict[str, object] = {
        "condition": Condition(hand="right", direction="left_to_right"),
        "device": Device("pen", calibrated=True),
        "pressure_band": (0.3, 0.6),
    }
    return Trial("t", mode, trace, guide, **{**fields, **changes})  # type: ignore[arg-type]


def check(one: Trial) -> None:
    """Every measure of the mode, and no other, is a finite number or one of its reasons."""
    w = Workings(one)
    found = measure_all(w)
    mine = [entry for entry in TRIAL_MEASURES if one.mode in entry.modes]
    assert list(found) == [entry.id for entry in mine]
    for entry in mine:
        value = found[entry.id]
        if value.number is None:
            assert value.reason in reasons_of(entry), (entry.id, value.reason)
            assert value.reason in REASONS
        else:
            assert value.reason is None
            assert math.isfinite(value.number)
            ends = (value.low, value.high)
            assert ends == (None, None) or all(end is not None for end in ends)
    make_report(w)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    rows=st.lists(sample, max_size=50),
    guide=st.sampled_from(sorted(GUIDES)),
    pressure=st.sampled_from(PRESSURES),
    pointer=st.sampled_from(POINTERS),
    timed=st.booleans(),
    calibrated=st.booleans(),
    kind=st.sampled_from(["pen", "touch", "mouse"]),
    hand=st.sampled_from(["left", "right", "free", None]),
    cue_s=st.sampled_from([None, 0.0, 1.5]),
)
@pytest.mark.parametrize("mode", MODES)
def test_any_samples_give_a_number_or_a_reason(
    mode: Mode,
    rows: list[tuple[float, float, float, int]],
    guide: str,
    pressure: str,
    pointer: str,
    timed: bool,
    calibrated: bool,
    kind: str,
    hand: str | None,
    cue_s: float | None,
) -> None:
    check(
        attempt(
            mode,
            columns(from_rows(rows), pressure, pointer, timed),
            GUIDES[guide],
            device=Device(kind, calibrated),
            condition=Condition(hand=hand),
            cue_s=cue_s,
            marks=(Mark(1.0, "hand_switch"), Mark(2.0, "note")),
        )
    )


def pairs_of_kinds() -> list[tuple[str, str]]:
    """Every kind of samples with three guides, so that every guide meets many kinds."""
    names = sorted(GUIDES)
    return [
        (kind, names[(5 * at + 4 * turn) % len(names)])
        for at, kind in enumerate(KINDS)
        for turn in range(3)
    ]


@pytest.mark.parametrize(("kind", "guide"), pairs_of_kinds())
@pytest.mark.parametrize("mode", MODES)
def test_extreme_samples_give_a_number_or_a_reason(mode: Mode, kind: str, guide: str) -> None:
    at = list(KINDS).index(kind)
    pressure = PRESSURES[at % len(PRESSURES)]
    pointer = POINTERS[at % len(POINTERS)] if mode != "both" else "halves"
    check(attempt(mode, columns(KINDS[kind], pressure, pointer, True), GUIDES[guide]))


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("guide", sorted(GUIDES))
def test_a_drawing_beside_any_guide_gives_a_number_or_a_reason(mode: Mode, guide: str) -> None:
    asked = GUIDES[guide]
    places = (
        np.vstack([part.outline_mm for part in asked.parts])
        if asked and asked.parts
        else (np.array([[dot.x_mm, dot.y_mm] for dot in DOTS]))
    )
    share = np.linspace(0, 1, 400) * (len(places) - 1)
    xy_mm = np.column_stack([np.interp(share, np.arange(len(places)), c) for c in places.T])
    for pressure, pointer in (("wavy", "in turn"), ("gappy", "none")):
        samples = even(400, 120.0, xy_mm + 0.2 * walk(400, 5, 0.1))
        check(attempt(mode, columns(samples, pressure, pointer, True), asked))
