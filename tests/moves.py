"""Drawings of every mode, and what can be done to a page or a clock without drawing anew."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from analysis.guide import Guide
from analysis.trace import FloatArray, Trace
from analysis.trial import Condition, Mark, Mode, Trial
from tests import refusals
from tests import refusals_modes as modes
from tests.known import beside, trial

Move = Callable[[Trial], Trial]
Map = Callable[[FloatArray], FloatArray]

RATE_HZ = 240.0
MODES: tuple[Mode, ...] = ("cut", "tap", "join", "both")
"""What holds of a cutting line holds of any line to trace: it has all of its measures."""
LIFT_AT, BULGE_AT = 0.15, 0.62
"""Shares of the way at which the drawing is lifted and leaves the corridor."""
PACE = (
    (0.0, 0.0), (3.0, 0.5), (3.4, 0.5), (4.9, 0.75), (7.1, 0.75), (7.7, 0.85), (7.82, 0.83),
    (8.9, 1.01),
)  # fmt: skip
"""Times [s] and shares of the way: two rests, once back a little, and past the end."""
DRAWN_S = PACE[-1][0]


def _eventful(guide: Guide, rate_hz: float) -> Trial:
    """A line with a lift, rests, a way back, a way out of the corridor and uneven pressure."""
    t_s = np.arange(round(DRAWN_S * rate_hz) + 1) / rate_hz
    u = np.interp(t_s, *np.array(PACE).T)
    s_mm = (u + 0.03 * np.sin(2 * np.pi * 4 * u) / np.pi) * guide.length_mm
    bulge_mm = 7.0 * np.exp(-(((u - BULGE_AT) / 0.03) ** 2))
    xy_mm = beside(guide, s_mm, 1.5 + np.sin(2 * np.pi * s_mm / 23) + bulge_mm, reach_mm=6.0)
    if not guide.closed:
        past_mm = np.maximum(0.0, s_mm - guide.length_mm)
        xy_mm = xy_mm + past_mm[:, None] * guide.segment_tangent[-1]
    return trial(
        guide,
        xy_mm,
        0.4 + t_s,
        (u > LIFT_AT).astype(np.int64),
        pressure=0.5 + 0.2 * np.sin(2 * np.pi * t_s / 1.7),
        pressure_band=(0.4, 0.7),
        mode="cut",
    )


def _taps(rate_hz: float) -> Trial:
    """Fourteen taps to and fro, some of them misses, one repeated."""
    places_mm, error_mm = modes.to_and_fro(), 2.2 * modes.errors_mm(14)
    guide = modes.dots(places_mm)
    made = modes.contacts(np.insert(places_mm + error_mm, 9, places_mm[8], axis=0), rate_hz)
    return replace(made, mode="tap", guide=guide)


def _hold(rate_hz: float) -> Trial:
    """The holding hand is lifted once."""
    made = modes.sound_hold(rate_hz)
    assert made.trace.t_s is not None
    again = (made.trace.pointer == 0) & (made.trace.t_s > 5.0)
    return refusals.with_trace(made, stroke=made.trace.stroke + 2 * again)


def drawings(mode: Mode, rate_hz: float = RATE_HZ) -> tuple[Trial, ...]:
    """Trials of a mode, the same movement at any sampling rate."""
    if mode == "tap":
        return (_taps(rate_hz),)
    if mode == "join":
        return (modes.sound_join(rate_hz),)
    if mode == "both":
        return (modes.sound_hands(rate_hz), _hold(rate_hz))
    switched = replace(_eventful(refusals.box(), rate_hz), marks=(Mark(4.0, "hand_switch"),))
    return (switched, _eventful(refusals.bridge(), rate_hz))


def on_the_page(one: Trial, to: Map, *, midline_mm: Callable[[float], float | None]) -> Trial:
    """Guide, targets, midline and trace, all moved by one map."""
    guide = one.guide
    assert guide is not None
    centres = [to(np.array([[dot.x_mm, dot.y_mm]]))[0] for dot in guide.targets]
    moved = replace(
        guide,
        parts=() if guide.targets else [replace(p, points_mm=to(p.points_mm)) for p in guide.parts],
        midline_x_mm=None if guide.midline_x_mm is None else midline_mm(guide.midline_x_mm),
        targets=[
            replace(dot, x_mm=float(at[0]), y_mm=float(at[1]))
            for dot, at in zip(guide.targets, centres, strict=True)
        ],
    )
    return replace(one, guide=moved, trace=replace(one.trace, xy_mm=to(one.trace.xy_mm)))


def shifted(one: Trial) -> Trial:
    return on_the_page(
        one, lambda xy: xy + np.array([31.7, -12.3]), midline_mm=lambda x_mm: x_mm + 31.7
    )


def turned(one: Trial) -> Trial:
    """Turned by 33 degrees; the midline stays upright, so there is none to speak of."""
    a = np.radians(33.0)
    matrix = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    return on_the_page(one, lambda xy: xy @ matrix, midline_mm=lambda _: None)


OTHER_HAND = {"left": "right", "right": "left"}


def mirrored(one: Trial) -> Trial:
    """Left and right changed, of the page and of the hand."""
    flipped = on_the_page(
        one,
        lambda xy: np.array([200.0, 0.0]) + xy * np.array([-1.0, 1.0]),
        midline_mm=lambda x_mm: 200.0 - x_mm,
    )
    hand = OTHER_HAND.get(one.condition.hand or "", one.condition.hand)
    return replace(flipped, condition=Condition(hand=hand))


def drawn_backwards(one: Trial) -> Trial:
    """The film run backwards on a guide that asks for the other direction."""
    guide, trace = one.guide, one.trace
    assert guide is not None
    assert trace.t_s is not None
    last = max((dot.order for dot in guide.targets), default=0)
    parts = [part.reversed() for part in guide.parts]
    # With two hands each keeps its part; one pen meets the parts in the other order.
    back = replace(
        guide,
        parts=() if guide.targets else parts if one.mode == "both" else parts[::-1],
        targets=[replace(dot, order=last - dot.order) for dot in guide.targets],
    )
    film = Trace(
        xy_mm=trace.xy_mm[::-1],
        t_s=(trace.t_s[0] + trace.t_s.max() - trace.t_s)[::-1],
        stroke=(trace.stroke.max() - trace.stroke)[::-1],
        pressure=None if trace.pressure is None else trace.pressure[::-1],
        pointer=None if trace.pointer is None else trace.pointer[::-1],
    )
    whole_s = float(trace.t_s[0] + trace.t_s.max())
    marks = tuple(replace(mark, t_s=whole_s - mark.t_s) for mark in one.marks)
    hand = Condition(hand=one.condition.hand)
    return replace(one, guide=back, trace=film, condition=hand, marks=marks)


def twice_as_long(one: Trial) -> Trial:
    """The same line in twice the time."""
    assert one.trace.t_s is not None
    marks = tuple(replace(mark, t_s=2.0 * mark.t_s) for mark in one.marks)
    return replace(one, trace=replace(one.trace, t_s=2.0 * one.trace.t_s), marks=marks)


APART_AT = 0.2
"""Share of the time at which the pen is lifted, or rests."""


def _at(one: Trial, share: float) -> FloatArray:
    """Whether a sample is past a share of the time of its contact."""
    t_s = one.trace.t_s
    assert t_s is not None
    pointer = np.zeros(len(t_s)) if one.trace.pointer is None else one.trace.pointer
    past = np.zeros(len(t_s), dtype=np.bool_)
    for contact in np.unique(pointer):
        mine = pointer == contact
        first, last = t_s[mine].min(), t_s[mine].max()
        past |= mine & (t_s > first + share * (last - first))
    return past


def lifted(one: Trial) -> Trial:
    """The pen taken off between two samples, at a fifth of the time."""
    later = _at(one, APART_AT)
    return refusals.with_trace(one, stroke=one.trace.stroke + 10 * later)


def _sampled(rate_hz: float) -> Move:
    """The same drawing at another rate, whatever trial it was."""

    def move(one: Trial) -> Trial:
        at = next(
            number
            for number, same in enumerate(drawings(one.mode))
            if np.array_equal(same.trace.xy_mm, one.trace.xy_mm)
        )
        return drawings(one.mode, rate_hz)[at]

    return move


at_60_hz, at_120_hz = _sampled(60.0), _sampled(120.0)

REST_S = 1.0


def rested(one: Trial) -> Trial:
    """The pen, or both, held still for 1 s where it is at a fifth of the time."""
    trace = one.trace
    assert trace.t_s is not None
    later = _at(one, APART_AT)
    pointer = np.zeros(len(trace)) if trace.pointer is None else trace.pointer
    rows: list[int] = []
    times: list[float] = []
    count = round(REST_S * RATE_HZ)
    for contact in np.unique(pointer):
        mine = np.flatnonzero(pointer == contact)
        before, after = mine[~later[mine]], mine[later[mine]]
        held = np.repeat(before[-1], count)
        rows += [*before, *held, *after]
        still_s = trace.t_s[before[-1]] + np.arange(1, count + 1) / RATE_HZ
        times += [*trace.t_s[before], *still_s, *(trace.t_s[after] + REST_S)]
    made = replace(
        refusals.traced(one, np.array(rows)),
        marks=tuple(replace(mark, t_s=mark.t_s + REST_S) for mark in one.marks),
    )
    return refusals.with_trace(made, t_s=np.array(times))
