"""Trials drawn by formula, one for each usual way in which a trial goes right or wrong."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from analysis import shapes
from analysis.guide import Guide, Part, Target
from analysis.report import make_report
from analysis.trace import FloatArray, Trace
from analysis.trial import Condition, Device, Mode, Trial
from analysis.workings import Workings
from server.trend_series import Series, SessionPoint

RATE_HZ = 120.0
SPEED_MM_S = 40.0
# The half-ellipse stands with its left foot here; its midline is 90 mm to the right.
FOOT_MM = np.array([30.0, 40.0])
MIDLINE_MM = 120.0

Drawing = tuple[Workings, dict[str, Any]]


def bridge(corridor_mm: float | None = 12.0, midline_x_mm: float | None = MIDLINE_MM) -> Guide:
    points_mm = shapes.half_ellipse(180, 85) + FOOT_MM
    return Guide.from_points(points_mm, corridor_mm=corridor_mm, midline_x_mm=midline_x_mm)


def beside(guide: Guide, s_mm: FloatArray, d_mm: FloatArray | float) -> FloatArray:
    """Points at a distance to the left of travel along a guide."""
    tangent = guide.segment_tangent[guide.segment_at(guide.wrapped(s_mm))]
    left = np.column_stack([tangent[:, 1], -tangent[:, 0]])
    return guide.point_at(s_mm) + left * np.broadcast_to(d_mm, s_mm.shape)[:, None]


def even(guide: Guide, first: float = 0.0, last: float = 1.0, rate_hz: float = RATE_HZ) -> Any:
    """Progress at constant speed from one share of a guide to another."""
    length_mm = guide.length_mm * (last - first)
    return np.linspace(
        first * guide.length_mm,
        last * guide.length_mm,
        int(length_mm / SPEED_MM_S * rate_hz) + 1,
    )


def held(s_mm: FloatArray, at: int, pause_s: float) -> FloatArray:
    """Progress that rests at one sample."""
    return np.concatenate([s_mm[:at], np.full(int(pause_s * RATE_HZ), s_mm[at]), s_mm[at:]])


def worked(
    guide: Guide | None,
    xy_mm: FloatArray,
    *,
    stroke: Any = None,
    rate_hz: float | None = RATE_HZ,
    calibrated: bool = True,
    pointer_type: str = "pen",
    direction: str | None = "left_to_right",
    mode: Mode = "trace",
    t_s: Any = None,
    pointer: Any = None,
) -> Drawing:
    count = len(xy_mm)
    if t_s is None and rate_hz is not None:
        t_s = 0.5 + np.arange(count) / rate_hz
    trace = Trace(
        xy_mm=xy_mm,
        t_s=t_s,
        stroke=np.zeros(count, dtype=int) if stroke is None else stroke,
        pointer=pointer,
    )
    condition = Condition("right", direction, "seated", "stylus")
    made = Workings(
        Trial("t", mode, trace, guide, condition, Device(pointer_type, calibrated), cue_s=0.0)
    )
    return made, make_report(made)


def good() -> Drawing:
    """2 mm beside the line, a bulge to 9 mm at 72 %, 0.9 s of rest at the midline."""
    guide = bridge()
    s_mm = even(guide)
    s_mm = held(s_mm, len(s_mm) // 2, 0.9)
    bulge_mm = 7.0 * np.exp(-(((s_mm / guide.length_mm - 0.72) / 0.03) ** 2))
    return worked(guide, beside(guide, s_mm, 2.0 + bulge_mm))


def clean() -> Drawing:
    """The same rest, 2 mm beside the line all the way."""
    guide = bridge()
    s_mm = even(guide)
    return worked(guide, beside(guide, held(s_mm, len(s_mm) // 2, 0.9), 2.0))


def nothing() -> Drawing:
    return worked(bridge(), np.zeros((0, 2)))


def half() -> Drawing:
    guide = bridge()
    return worked(guide, beside(guide, even(guide, 0.0, 0.4), 1.0))


def little() -> Drawing:
    guide = bridge()
    return worked(guide, beside(guide, even(guide, 0.0, 0.14), 1.0))


def other_way() -> Drawing:
    guide = bridge()
    back = guide.reversed()
    return worked(guide, beside(back, even(back), 1.0))


def scribble() -> Drawing:
    """A Lissajous figure over the whole area: far longer than the line."""
    p = np.linspace(0.0, 2.0 * np.pi, 4800)
    return worked(
        bridge(), np.column_stack([120 + 85 * np.sin(11 * p), 85 + 45 * np.sin(13 * p + 1)])
    )


def no_times() -> Drawing:
    guide = bridge()
    return worked(guide, beside(guide, even(guide), 1.0), rate_hz=None)


def low_rate() -> Drawing:
    guide = bridge()
    return worked(guide, beside(guide, even(guide, rate_hz=12.0), 1.0), rate_hz=12.0)


def uncalibrated() -> Drawing:
    guide = bridge()
    bulge_mm = 8.0 * np.exp(-(((even(guide) / guide.length_mm - 0.72) / 0.03) ** 2))
    return worked(guide, beside(guide, even(guide), 1.0 + bulge_mm), calibrated=False)


def finger() -> Drawing:
    guide = bridge()
    return worked(guide, beside(guide, even(guide), 1.0), pointer_type="touch")


def no_midline() -> Drawing:
    guide = bridge(midline_x_mm=None)
    return worked(guide, beside(guide, even(guide), 1.0))


def no_corridor() -> Drawing:
    guide = bridge(corridor_mm=None)
    return worked(guide, beside(guide, even(guide), 1.0))


def no_guide() -> Drawing:
    return worked(None, beside(bridge(), even(bridge()), 1.0), direction=None)


def lifted() -> Drawing:
    """Two lifts: at 30 %, and across the midline."""
    guide = bridge()
    s_mm = even(guide)
    share = s_mm / guide.length_mm
    kept = ~((share > 0.3) & (share < 0.32)) & ~((share > 0.47) & (share < 0.53))
    stroke = (share > 0.31).astype(int) + (share > 0.5).astype(int)
    return worked(guide, beside(guide, s_mm, 1.0)[kept], stroke=stroke[kept])


def closed() -> Drawing:
    """A circle and a little more, 2 mm outside."""
    guide = Guide.from_points(
        shapes.circle(40) + np.array([60, 30]), closed=True, corridor_mm=8, midline_x_mm=100.0
    )
    return worked(guide, beside(guide, even(guide, 0.0, 1.03), 2.0), direction="clockwise")


def parts() -> Drawing:
    """Three lines, the last one with a corridor that narrows, a stroke each."""
    guide = Guide(
        (
            Part(shapes.line(60) + np.array([30, 40]), False, np.array(8.0)),
            Part(shapes.line(60) + np.array([110, 40]), False, np.array(8.0)),
            Part(shapes.line(60) + np.array([70, 80]), False, np.array([16.0, 6.0])),
        ),
        midline_x_mm=100.0,
    )
    strokes = [beside(one, even(one), 1.0) for one in (Guide((part,)) for part in guide.parts)]
    number = np.repeat(np.arange(3), [len(points) for points in strokes])
    return worked(guide, np.vstack(strokes), stroke=number)


def upright() -> Drawing:
    """A vertical line along the midline itself."""
    guide = Guide.from_points(
        shapes.line(0, 100) + np.array([80, 10]), corridor_mm=24, midline_x_mm=80.0
    )
    return worked(guide, beside(guide, even(guide), 3.0), direction="downward")


def one_dot() -> Drawing:
    return worked(bridge(), np.array([[60.0, 60.0]]))


DOTS_MM = np.array([[40.0, 40.0], [80.0, 40.0], [120.0, 40.0], [160.0, 40.0], [40.0, 80.0]])


def dots(midline_x_mm: float | None = 100.0) -> Guide:
    """Five dots of radius 6 mm."""
    targets = [Target(x, y, 6.0, order) for order, (x, y) in enumerate(DOTS_MM.tolist())]
    return Guide(targets=targets, midline_x_mm=midline_x_mm)


def tapped() -> Drawing:
    """Five dots: the third touched 9 mm off, the fourth left out, the fifth touched twice."""
    aside_mm = np.array([[1, 0], [0, -2], [9, 0], [2, 0], [-1, 1]])
    places_mm = DOTS_MM[[0, 1, 2, 4, 4]] + aside_mm
    stroke = np.repeat(np.arange(5), 12)
    t_s = 0.5 + 0.8 * stroke + np.tile(np.arange(12) / RATE_HZ, 5)
    return worked(dots(), places_mm[stroke], stroke=stroke, t_s=t_s, mode="tap")


def tapped_by_nobody() -> Drawing:
    return worked(dots(), np.zeros((0, 2)), mode="tap")


def joined_up() -> Drawing:
    """A line through five dots in their order that passes the third at 8 mm."""
    corners_mm = DOTS_MM + np.array([[0, 0], [0, 0], [0, -8], [0, 0], [0, 0]])
    line = Guide.from_points(corners_mm)
    return worked(dots(), line.point_at(even(line)), mode="join")


def uprights() -> Guide:
    sides = [np.array([60.0, 30.0]), np.array([140.0, 30.0])]
    parts = [Part(shapes.line(0, 80) + side, False, np.array(18.0)) for side in sides]
    return Guide(parts, midline_x_mm=100.0)


def two_at_once(guide: Guide, places_mm: list[FloatArray], **more: Any) -> Drawing:
    """One contact on each list of places, in the order of time."""
    xy_mm, pointer = np.vstack(places_mm), np.repeat([0, 1], [len(one) for one in places_mm])
    t_s = 0.5 + np.concatenate([np.arange(len(one)) for one in places_mm]) / RATE_HZ
    order = np.argsort(t_s, kind="stable")
    return worked(
        guide, xy_mm[order], t_s=t_s[order], stroke=pointer[order], pointer=pointer[order],
        mode="both", pointer_type="touch", **more,
    )  # fmt: skip


def both_hands() -> Drawing:
    """Two upright lines at once, 1 mm and 12 mm beside: the second is outside its corridor."""
    guide = uprights()
    sides = [Guide((part,)) for part in guide.parts]
    lines = [beside(one, even(one), d_mm) for one, d_mm in zip(sides, (1.0, 12.0), strict=True)]
    return two_at_once(guide, lines)


def one_of_two_hands() -> Drawing:
    guide = uprights()
    left = Guide(guide.parts[:1])
    return two_at_once(guide, [beside(left, even(left), 1.0), np.zeros((0, 2))])


def both_uncalibrated() -> Drawing:
    guide = uprights()
    lines = [beside(one, even(one), 2.0) for one in (Guide((part,)) for part in guide.parts)]
    return two_at_once(guide, lines, calibrated=False)


def held_and_traced() -> Drawing:
    """One contact rests on a disc and slides by 4 mm, the other follows a circle."""
    circle = Guide.from_points(
        shapes.circle(30) + np.array([110, 30]), closed=True, corridor_mm=18.0, midline_x_mm=95.0
    )
    guide = replace(circle, targets=(Target(50.0, 60.0, 15.0, 0),))
    line = beside(circle, even(circle), 1.0)
    hold = np.column_stack([np.linspace(50, 54, len(line)), np.full(len(line), 60.0)])
    return two_at_once(guide, [hold, line], direction="clockwise")


def for_scissors() -> Drawing:
    guide = Guide.from_points([[30, 60], [180, 60]], corridor_mm=12.7, midline_x_mm=105.0)
    return worked(guide, beside(guide, even(guide), 2.0), mode="cut")


ALL: dict[str, Callable[[], Drawing]] = {
    made.__name__: made
    for made in (
        good, clean, nothing, half, little, other_way, scribble, no_times, low_rate, uncalibrated,
        finger, no_midline, no_corridor, no_guide, lifted, closed, parts, upright, one_dot,
        tapped, tapped_by_nobody, joined_up, both_hands, one_of_two_hands, both_uncalibrated,
        held_and_traced, for_scissors,
    )
}  # fmt: skip

FIRST_DAY = date(2026, 1, 12)


def series(
    values: list[float],
    *,
    hand: str = "right",
    corridor_mm: float = 12.0,
    first_week: int = 0,
    helps: int = 0,
    travelled: str = "left_to_right",
) -> Series:
    points = tuple(
        SessionPoint(
            FIRST_DAY + timedelta(weeks=first_week + k), f"s{k}", value, 3, helps, ("seated",)
        )
        for k, value in enumerate(values)
    )
    return Series(
        "trace", f"g1-{corridor_mm}", "p1", hand, travelled, "stylus", "c1", None,
        "deviation_mean_abs", 1, "High Bridge", corridor_mm, points,
    )  # fmt: skip
