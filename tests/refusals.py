"""Trials that are sound, and what spoils them: one change for each reason to refuse.

A *base* is a trial on which measures can be computed. A *spoiling* changes a base so that one
need of `analysis.needs.NEEDS`, or one reason that a function gives by itself, is not met.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from analysis import shapes
from analysis.guide import Guide, Part
from analysis.trace import FloatArray, Trace
from analysis.trial import Mode, Trial
from tests import refusals_modes as modes
from tests.known import beside, trial

Spoil = Callable[[Trial], Trial]

RATE_HZ = 120.0
MIDLINE_MM = 90.0


def _paced(duration_s: float, rate_hz: float = RATE_HZ) -> tuple[FloatArray, FloatArray]:
    """Times, and a share of the way that rises unevenly from 0 to 1."""
    t_s = np.arange(round(duration_s * rate_hz) + 1) / rate_hz
    u = t_s / t_s[-1]
    return t_s, u + 0.03 * np.sin(2 * np.pi * 4 * u) / np.pi


def drawn(guide: Guide, rate_hz: float = RATE_HZ) -> Trial:
    """A pen trial 1.5 mm beside the line, a little wavy, pressing unevenly."""
    t_s, share = _paced(6.0, rate_hz)
    s_mm = 0.999 * share * guide.length_mm
    d_mm = 1.5 + np.sin(2 * np.pi * s_mm / 23)
    pressure = 0.5 + 0.2 * np.sin(2 * np.pi * t_s / 1.7)
    xy_mm = beside(guide, s_mm, d_mm)
    return trial(guide, xy_mm, 0.4 + t_s, pressure=pressure, pressure_band=(0.4, 0.7))


def box() -> Guide:
    """A closed rectangle across the midline: corners, a corridor, no crossing of itself."""
    points_mm = np.array([[10, 20], [170, 20], [170, 80], [10, 80]], float)
    return Guide.from_points(points_mm, closed=True, corridor_mm=12, midline_x_mm=MIDLINE_MM)


def bridge() -> Guide:
    """An open half-ellipse across the midline."""
    points_mm = shapes.half_ellipse(180, 85)
    return Guide.from_points(points_mm, corridor_mm=12, midline_x_mm=MIDLINE_MM)


def bases(mode: Mode, rate_hz: float = RATE_HZ) -> tuple[Trial, ...]:
    """Sound trials of a mode; a measure is tested on the first that gives it a number."""
    if mode == "tap":
        return (modes.sound_taps(rate_hz),)
    if mode == "join":
        return (modes.sound_join(rate_hz),)
    if mode == "both":
        return (modes.sound_hands(rate_hz), modes.sound_hold(rate_hz))
    return tuple(replace(drawn(guide, rate_hz), mode=mode) for guide in (box(), bridge()))


def traced(one: Trial, keep: FloatArray) -> Trial:
    """The trial with some of its samples only."""
    trace = one.trace
    return replace(
        one,
        trace=Trace(
            xy_mm=trace.xy_mm[keep],
            t_s=None if trace.t_s is None else trace.t_s[keep],
            stroke=trace.stroke[keep],
            pressure=None if trace.pressure is None else trace.pressure[keep],
            pointer=None if trace.pointer is None else trace.pointer[keep],
        ),
    )


def with_trace(one: Trial, **columns: object) -> Trial:
    return replace(one, trace=replace(one.trace, **columns))  # type: ignore[arg-type]


def at_rate(one: Trial, rate_hz: float) -> Trial:
    """The same movement, stroke by stroke, sampled at another rate."""
    trace = one.trace
    assert trace.t_s is not None
    made = []
    for number in dict.fromkeys(trace.stroke.tolist()):
        mine = trace.stroke == number
        t_s = trace.t_s[mine]
        even_s = np.arange(t_s[0], t_s[-1] + 1e-9, 1 / rate_hz)
        columns = [np.interp(even_s, t_s, column) for column in trace.xy_mm[mine].T]
        pressure = (
            np.interp(even_s, t_s, trace.pressure[mine])
            if trace.pressure is not None
            else np.full(len(even_s), np.nan)
        )
        pointer = 0 if trace.pointer is None else int(trace.pointer[mine][0])
        made.append(
            (even_s, *columns, pressure, np.full(len(even_s), number), pointer + 0 * even_s)
        )
    t_s, x_mm, y_mm, pressure, stroke, pointer = (
        np.concatenate(c) for c in zip(*made, strict=True)
    )
    return with_trace(
        one,
        xy_mm=np.column_stack([x_mm, y_mm]),
        t_s=t_s,
        stroke=stroke.astype(np.int64),
        pressure=None if trace.pressure is None else pressure,
        pointer=None if trace.pointer is None else pointer.astype(np.int64),
    )


def on(guide: Guide) -> Spoil:
    """The same sound drawing on another guide."""

    def spoilt(one: Trial) -> Trial:
        other = drawn(guide)
        return replace(one, guide=guide, trace=other.trace)

    return spoilt


def _first(count: int) -> Spoil:
    return lambda one: traced(one, np.arange(count))


def _slowly(share: float) -> Spoil:
    """Only the first share of the way, in the time of the whole."""

    def spoilt(one: Trial) -> Trial:
        part = traced(one, np.arange(int(share * len(one.trace))))
        assert part.trace.t_s is not None
        t_s = part.trace.t_s
        return at_rate(with_trace(part, t_s=t_s[0] + (t_s - t_s[0]) / share), RATE_HZ)

    return spoilt


def _begun(seconds: float) -> Spoil:
    def spoilt(one: Trial) -> Trial:
        assert one.trace.t_s is not None
        return traced(one, np.flatnonzero(one.trace.t_s < one.trace.t_s[0] + seconds))

    return spoilt


def _one_instant(one: Trial) -> Trial:
    """Two samples 4 ms apart and a way apart: a rate, but nothing to filter."""
    two = traced(one, np.array([0, len(one.trace) // 2]))
    return with_trace(two, t_s=np.array([0.4, 0.404]))


def _resting(one: Trial) -> Trial:
    return with_trace(one, xy_mm=np.repeat(one.trace.xy_mm[:1], len(one.trace), axis=0))


def _stroke_share(one: Trial) -> FloatArray:
    """How far each sample is through its stroke, 0 to 1."""
    share = np.empty(len(one.trace))
    for number in np.unique(one.trace.stroke):
        mine = one.trace.stroke == number
        share[mine] = np.linspace(0, 1, int(mine.sum()))
    return share


def _gap(one: Trial) -> Trial:
    """Nothing reported for 20 % of the time of every stroke, while the pen moved on."""
    share = _stroke_share(one)
    return traced(one, np.flatnonzero((share < 0.72) | (share > 0.92)))


def _clock_back(one: Trial) -> Trial:
    """In the middle of every stroke the clock goes back by half a second."""
    if one.trace.t_s is None:
        return one
    return with_trace(one, t_s=one.trace.t_s - 0.5 * (_stroke_share(one) > 0.5))


def _last_contact_drawn_out(one: Trial) -> Trial:
    """The last contact reports nothing for 2 s and ends 5 mm on."""
    assert one.trace.t_s is not None
    t_s, xy_mm = one.trace.t_s.copy(), one.trace.xy_mm.copy()
    t_s[-1] += 2.0
    xy_mm[-1] += 5.0
    return with_trace(one, t_s=t_s, xy_mm=xy_mm)


def _uncalibrated(one: Trial) -> Trial:
    return replace(one, device=replace(one.device, calibrated=False))


def _without_corridor(one: Trial) -> Trial:
    assert one.guide is not None
    parts = [replace(part, corridor_mm=None) for part in one.guide.parts]
    return replace(one, guide=replace(one.guide, parts=parts))


def _midline_at(x_mm: float | None) -> Spoil:
    def spoilt(one: Trial) -> Trial:
        assert one.guide is not None
        return replace(one, guide=replace(one.guide, midline_x_mm=x_mm))

    return spoilt


def _midline_beside_the_edge(one: Trial) -> Trial:
    assert one.guide is not None
    left_mm = min(float(part.points_mm[:, 0].min()) for part in one.guide.parts)
    return replace(one, guide=replace(one.guide, midline_x_mm=left_mm + 6.0))


def _in_short_strokes(one: Trial) -> Trial:
    """One stroke of 0.8 s, the rest in strokes of 0.4 s."""
    assert one.trace.t_s is not None
    since_s = one.trace.t_s - one.trace.t_s[0]
    stroke = np.where(since_s < 0.8, 0, np.floor(since_s / 0.4 + 1e-9)).astype(np.int64)
    return with_trace(one, stroke=stroke)


def _pressed(pressure: Callable[[FloatArray], FloatArray]) -> Spoil:
    """Pressure as a function of the share of samples."""
    return lambda one: with_trace(one, pressure=pressure(np.linspace(0, 1, len(one.trace))))


def _pointer(pointer_type: str) -> Spoil:
    return lambda one: replace(one, device=replace(one.device, pointer_type=pointer_type))


def _straight() -> Guide:
    points_mm = np.array([[10, 20], [170, 20]], float)
    return Guide.from_points(points_mm, corridor_mm=12, midline_x_mm=MIDLINE_MM)


def _two_parts() -> Guide:
    return Guide(
        (
            Part(np.array([[10, 20], [170, 20], [170, 50]], float), False, np.full(3, 12.0)),
            Part(np.array([[170, 80], [10, 80], [10, 50]], float), False, np.full(3, 12.0)),
        ),
        midline_x_mm=MIDLINE_MM,
    )


def _eight() -> Guide:
    p = np.linspace(0, 2 * np.pi, 801)[:-1]
    points_mm = np.column_stack([90 + 80 * np.sin(p), 50 + 35 * np.sin(2 * p)])
    return Guide.from_points(points_mm, closed=True, corridor_mm=12, midline_x_mm=MIDLINE_MM)


def _there_and_back() -> Guide:
    points_mm = np.array([[10, 20], [170, 20], [10, 20]], float)
    return Guide.from_points(points_mm, corridor_mm=12, midline_x_mm=MIDLINE_MM)


def _other_way(one: Trial) -> Trial:
    return with_trace(one, xy_mm=one.trace.xy_mm[::-1])


def _beside_by(off_mm: float) -> Spoil:
    """The whole drawing moved straight down the page."""
    return lambda one: with_trace(one, xy_mm=one.trace.xy_mm + np.array([0.0, off_mm]))


def _along(one: Trial, xy_mm: FloatArray) -> Trial:
    """Positions drawn at 120 Hz in one stroke, pressing evenly."""
    count = len(xy_mm)
    return with_trace(
        one,
        xy_mm=xy_mm,
        t_s=np.arange(count) / RATE_HZ,
        stroke=np.zeros(count, dtype=np.int64),
        pressure=np.full(count, 0.5),
        pointer=None,
    )


def _exactly_on_the_line(one: Trial) -> Trial:
    assert one.guide is not None
    _, share = _paced(6.0)
    return _along(one, one.guide.point_at(share * 0.999 * one.guide.length_mm))


def _slow_but_for_two_flicks(one: Trial) -> Trial:
    """13 s at 4 mm/s, slower than a pause for a hand that flicks twice at 43 mm/s."""
    x_mm = np.concatenate(
        [10 + 4 * np.arange(13 * 120 + 1) / RATE_HZ]
        + [start + 43 * np.arange(49) / RATE_HZ for start in (70.0, 100.0)]
    )
    made = _along(one, np.column_stack([x_mm, 20 + 0 * x_mm]))
    stroke = np.repeat([0, 1, 2], [13 * 120 + 1, 49, 49])
    assert made.trace.t_s is not None
    return with_trace(made, stroke=stroke, t_s=made.trace.t_s + 0.5 * stroke)


def _evenly_bent(one: Trial) -> Trial:
    """A circle: one curvature, which tells nothing of others."""
    angle = np.linspace(0, 2 * np.pi, 721)
    return _along(one, np.column_stack([90 + 40 * np.cos(angle), 50 + 40 * np.sin(angle)]))


def _bent_at_even_speed(one: Trial) -> Trial:
    """Arcs of radius 20 and 60 mm, at one speed as the centred difference sees it."""
    steps = np.arange(361)
    arcs = []
    for radius_mm in (20.0, 60.0):
        angle = steps * np.arcsin(8.0 / RATE_HZ / radius_mm)
        arcs.append(90 + radius_mm * np.column_stack([np.cos(angle), np.sin(angle)]))
    both = _along(one, np.vstack(arcs))
    return with_trace(both, stroke=np.repeat([0, 1], 361))


def _touch(one: Trial) -> Trial:
    """A tenth of a second in one place: no slow run is long enough to be left out."""
    short = _begun(0.1)(one)
    return _resting(short)


def _beside_the_line_only(one: Trial) -> Trial:
    """To and fro across the line at one place: no way along it."""
    t_s = np.arange(721) / RATE_HZ
    y_mm = 20.0 + 10.0 * np.sin(2 * np.pi * t_s / 1.5)
    return _along(one, np.column_stack([90.0 + 0.0 * t_s, y_mm]))


def _instead(make: Callable[[], Trial]) -> Spoil:
    """Another trial of the same mode."""
    return lambda one: replace(make(), mode=one.mode)


def _few_dots(one: Trial) -> Trial:
    """Only four dots, whether tapped or joined."""
    if one.mode == "tap":
        return modes.tapping(modes.to_and_fro(4), modes.errors_mm(4))
    return modes.join_on(modes.seven_dots()[:4])


def _taps(count: int, *, exact: bool = False) -> Spoil:
    error_mm = modes.errors_mm(count) * (not exact)
    return _instead(lambda: modes.tapping(modes.to_and_fro(count), error_mm))


def _on_a_line_without_dots(one: Trial) -> Trial:
    return replace(one, guide=box())


def _after_each_other(one: Trial) -> Trial:
    """Contact 1 begins when contact 0 has nearly ended."""
    assert one.trace.t_s is not None
    return with_trace(one, t_s=one.trace.t_s + 7.5 * (one.trace.pointer == 1))


def _begun_again_after_an_hour(one: Trial) -> Trial:
    """Both contacts are lifted in the middle, for more than an hour."""
    assert one.trace.t_s is not None
    later = _stroke_share(one) > 0.5
    return with_trace(one, stroke=one.trace.stroke + 2 * later, t_s=one.trace.t_s + 4000.0 * later)


def _one_contact(one: Trial) -> Trial:
    return traced(one, np.flatnonzero(one.trace.pointer == 0))


def _short_crossing(one: Trial) -> Trial:
    """A guide that passes the midline by 4 mm only."""
    points_mm = np.array([[10, 20], [94, 20], [94, 80], [10, 80]], float)
    guide = Guide.from_points(points_mm, closed=True, corridor_mm=12, midline_x_mm=MIDLINE_MM)
    return on(guide)(one)


def _without_guide(one: Trial) -> Trial:
    return replace(one, guide=None)


def _hand(hand: str | None) -> Spoil:
    return lambda one: replace(one, condition=replace(one.condition, hand=hand))


NEEDS_SPOILT: dict[str, Spoil] = {
    "samples": _first(0),
    "time": lambda one: with_trace(one, t_s=None),
    "steps": _first(1),
    "paced": _one_instant,
    "moving": _resting,
    "moving_twice": _resting,
    "long_strokes": _begun(0.3),
    "rate_shape": lambda one: at_rate(one, 4.0),
    "rate_speed": lambda one: at_rate(one, 30.0),
    "rate_peaks": lambda one: at_rate(one, 53.0),
    "rate_fine": lambda one: at_rate(one, 80.0),
    "clock": _clock_back,
    "whole": _gap,
    "calibrated": _uncalibrated,
    "guide": _without_guide,
    "corridor": _without_corridor,
    "closed": on(bridge()),
    "one_part": on(_two_parts()),
    "simple": on(_eight()),
    "round_corners": on(_there_and_back()),
    "corner": on(bridge()),
    "midline_feature": _midline_at(-40.0),
    "midline_bands": _midline_beside_the_edge,
    "traced": _slowly(0.2),
    "midline_traced": _slowly(0.2),
    "hand": _hand("free"),
    "midline": _midline_at(None),
    "asked_way": _other_way,
    "asked": _without_guide,
    "jerk_moved": _resting,
    "held": _in_short_strokes,
    "many_bends": _begun(0.9),
    "long_piece": _begun(2.5),
    "bent": on(_straight()),
    "fine_positions": lambda one: with_trace(one, xy_mm=0.26 * np.round(one.trace.xy_mm / 0.26)),
    "pressure_time": _begun(0.09),
    "pressure_long": _begun(2.0),
    "rate_pressure": lambda one: at_rate(one, 20.0),
    "pressure_band": lambda one: replace(one, pressure_band=None),
    "pressure_sensor": _pointer("touch"),
    "pressure_varies": _pressed(lambda share: 0.5 + 0.0 * share),
    "pressure_range": _pressed(lambda share: np.where(share < 0.3, 1.0, 0.5 + 0.1 * share)),
}
"""Name of each need: what makes it unmet, and no need with an earlier reason."""

MODES_SPOILT: dict[Mode, dict[str, Spoil]] = {
    "tap": {"whole": _last_contact_drawn_out, "targets": _on_a_line_without_dots},
    "join": {"targets": _on_a_line_without_dots},
    "both": {
        "together": _after_each_other,
        "within_an_hour": _begun_again_after_an_hour,
        "two_parts": _instead(modes.sound_hold),
        "hands_parts": _instead(lambda: modes.together_on(modes.three_parts())),
        "held_part": _instead(modes.sound_hands),
        "cyclic": _instead(lambda: modes.together_on(modes.straight_pair())),
        "both_followed": _instead(lambda: modes.drawn_to((0.999, 0.1))),
        "two_contacts": _one_contact,
    },
}
"""Needs that take another spoiling in a mode."""

IDLE: dict[tuple[Mode, str], str] = {
    **{(mode, "hands_parts"): "one pen follows a guide of any number of parts"
       for mode in ("trace", "cut", "join", "tap")},
    **{(mode, "targets"): "there are no targets to meet" for mode in ("trace", "cut", "both")},
    ("tap", "rate_shape"): "a tap needs a single sample",
}  # fmt: skip
"""Needs that are always met in a mode, and why; another mode can spoil them."""

FUNCTIONS_SPOILT: dict[tuple[str, str], Spoil] = {
    ("start_dwell", "too_little_traced"): _resting,
    ("speed_cv", "zero_variance"): _touch,
    ("midline_deviation_ratio", "zero_variance"): _exactly_on_the_line,
    ("sparc", "too_little_traced"): _resting,
    ("log_dimensionless_jerk", "zero_variance"): _slow_but_for_two_flicks,
    ("speed_curvature_exponent", "guide_lacks_feature"): _evenly_bent,
    ("speed_curvature_r_squared", "guide_lacks_feature"): _evenly_bent,
    ("speed_curvature_gain", "guide_lacks_feature"): _evenly_bent,
    ("speed_curvature_r_squared", "zero_variance"): _bent_at_even_speed,
    ("band_4_12hz_share", "zero_variance"): _exactly_on_the_line,
    ("snip_length_median", "too_little_traced"): _beside_the_line_only,
    ("steering_rate", "too_little_inside"): _beside_by(10.0),
    **{
        (f"target_error_{name}", "too_few_trials"): _few_dots
        for name in ("mean", "constant", "constant_x", "constant_y", "variable")
    },
    ("hit_share", "too_few_trials"): _beside_by(400.0),
    ("effective_width", "too_few_trials"): _taps(5),
    ("effective_index_of_difficulty", "too_few_trials"): _taps(5),
    ("throughput", "too_few_trials"): _taps(8),
    ("effective_width", "zero_variance"): _taps(14, exact=True),
    ("effective_index_of_difficulty", "zero_variance"): _taps(14, exact=True),
    ("throughput", "zero_variance"): _taps(14, exact=True),
    ("both_progress_lag", "zero_variance"): _instead(lambda: modes.circles((1, 1))),
    ("both_progress_correlation", "zero_variance"): _instead(lambda: modes.circles((1, 1))),
    ("both_progress_lag", "not_alike"): _instead(modes.unlike_hands),
    ("both_relative_phase_mean", "too_little_traced"): _instead(modes.two_cycles),
    ("both_relative_phase_sd", "too_little_traced"): _instead(modes.two_cycles),
    ("both_relative_phase_mean", "not_alike"): _instead(lambda: modes.circles((3, 6))),
    ("both_relative_phase_sd", "not_alike"): _instead(lambda: modes.circles((3, 6))),
}
"""Measure and reason that its function gives by itself: what makes it do so."""

FUNCTIONS_MORE: tuple[tuple[str, str, Spoil], ...] = (
    ("midline_crossing_share", "guide_lacks_feature", _short_crossing),
    ("pressure_mean", "no_pressure_sensor", lambda one: with_trace(one, pressure=None)),
    ("pressure_mean", "no_pressure_sensor", _pressed(lambda share: np.nan * share)),
    ("pressure_mean", "pressure_constant", _pressed(lambda share: np.round(share) * 0.5)),
)
"""Further ways to a reason that a need gives too."""
