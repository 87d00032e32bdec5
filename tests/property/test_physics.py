"""Physics: what moving the page, the clock or the pen must do to every measure, and must not.

One table for each change says of every trial measure what becomes of it; a measure that
stands in no row of a table fails.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.registry import TRIAL_MEASURES, measure, measure_all
from analysis.trace import Trace
from analysis.trial import Mode
from analysis.value import Value
from analysis.workings import Workings
from tests import moves
from tests.moves import Move

IDS = [entry.id for entry in TRIAL_MEASURES]


@dataclass(frozen=True)
class Stays:
    """The same number, but for arithmetic or, where a reason is given, for a tolerance."""

    rel: float = 1e-6
    near: float = 1e-6
    why: str = ""

    def holds(self, before: dict[str, Value], after: dict[str, Value], name: str) -> bool:
        return close(after[name], before[name].number, self)


@dataclass(frozen=True)
class Scales:
    """A known multiple of the number, plus a known amount."""

    times: float = 1.0
    plus: float = 0.0
    rel: float = 1e-6
    near: float = 1e-6
    why: str = ""

    def holds(self, before: dict[str, Value], after: dict[str, Value], name: str) -> bool:
        number = before[name].number
        assert number is not None
        return close(after[name], self.times * number + self.plus, self)


@dataclass(frozen=True)
class Becomes:
    """The number that another measure had before."""

    other: str
    rel: float = 1e-6
    near: float = 1e-6
    why: str = ""

    def holds(self, before: dict[str, Value], after: dict[str, Value], name: str) -> bool:
        return close(after[name], before[self.other].number, self)


@dataclass(frozen=True)
class Changes:
    """May change, for a reason."""

    why: str

    def holds(self, before: dict[str, Value], after: dict[str, Value], name: str) -> bool:
        return True


@dataclass(frozen=True)
class Refuses:
    """Is refused with a reason code."""

    code: str
    why: str

    def holds(self, before: dict[str, Value], after: dict[str, Value], name: str) -> bool:
        return after[name].reason == self.code


Effect = Stays | Scales | Becomes | Changes | Refuses
Row = tuple[Effect, Iterable[str]]


def close(found: Value, wanted: float | None, effect: Stays | Scales | Becomes) -> bool:
    if found.number is None or wanted is None:
        return False
    return abs(found.number - wanted) <= max(effect.near, effect.rel * abs(wanted))


def ids(text: str, prefix: str = "") -> tuple[str, ...]:
    return tuple(prefix + name for name in text.split())


PROFILE = ids("mean_abs rms p95", "deviation_")
DISTANCES = (*PROFILE, "deviation_max")
SIGNED = ("deviation_bias",)
OUTWARD = ("deviation_bias_outward",)
EXPOSURE = ("deviation_mean_abs_time",)
SHARES = ids("in_corridor_share completion")
DEPARTURES = ids("count length max", "departure_")
OUTSIDE = ("departure_duration",)
START, STOP, PAST = ("start_error",), ("stop_error",), ("overshoot",)
GAP = ("closure_error",)
ENDS = (*START, *STOP, *PAST, *GAP)
CURVES = ids("area_between hausdorff_distance frechet_distance dtw_mean_distance")
CORNERS = ids("corner_miss corner_radius")
BEGINNING = ids("initiation_time start_dwell")
TIMES = ids("duration pen_down_time")
MOVING = ("moving_time",)
PATH = ids("path_length path_length_ratio")
MEANS = ids("speed_mean speed_mean_moving")
PEAKS = ids("speed_p99 speed_max")
SPREAD = ("speed_cv",)
SPEED_PEAKS = ("speed_peaks_per_cm",)
PAUSES = ids("pause_count pause_count_2s")
PAUSED = ("pause_time",)
LIFTS, AIR = ("lift_count",), ("in_air_time",)
SMOOTH = ids("sparc log_dimensionless_jerk")
LAW = ids("speed_curvature_exponent speed_curvature_r_squared speed_curvature_gain")
WAVES = ids("band_4_12hz_share band_4_12hz_rms")
PRESSED = ids("mean cv in_band_share", "pressure_")
DRIFT, PRESSURE_PEAKS = ("pressure_drift",), ("pressure_peaks_per_s",)
SNIPS, SNIP = ("snip_count",), ("snip_length_median",)
BACK = ("cut_reversal_count",)
AIMS = ids("mean constant variable", "target_error_")
AIM_X, AIM_Y = ("target_error_constant_x",), ("target_error_constant_y",)
HITS = ids("hit_share miss_count repeat_contact_count")
WIDTH = ids("effective_width effective_index_of_difficulty")
THROUGHPUT = ("throughput",)
DIFFERENCE = ("both_deviation_difference",)
LAG, ALIKE = ("both_progress_lag",), ("both_progress_correlation",)
PHASE = ids("both_relative_phase_mean both_relative_phase_sd")
HOLD, HOLD_LIFTS = ("hold_drift",), ("hold_lift_count",)
CROSSINGS = ids("midline_crossings midline_crossing_share")
ZONE = ids("midline_zone_time_share midline_slowdown_ratio")
AT_MIDLINE = ids("midline_pause_count midline_lift_count")
ZONE_DISTANCE = ("midline_deviation_ratio",)
REACH = ids("contralateral_reach contralateral_reach_share")
MIDLINE = (*CROSSINGS, *ZONE, *AT_MIDLINE, *ZONE_DISTANCE, *REACH)
SWITCHES = ("hand_switch_count",)
GUIDE = ids("steering_index_of_difficulty corner_count turning_total")
STEERING = ("steering_rate",)

GEOMETRY = (*DISTANCES, *SHARES, *DEPARTURES, *ENDS, *CURVES, *CORNERS, *OUTWARD)
CLOCK = (*BEGINNING, *TIMES, *MOVING, *PAUSES, *PAUSED, *LIFTS, *AIR, *OUTSIDE, *SWITCHES)
SPEED = (*PATH, *MEANS, *PEAKS, *SPREAD, *SPEED_PEAKS)
PEN = (*PRESSED, *DRIFT, *PRESSURE_PEAKS)
HANDS = (*DIFFERENCE, *LAG, *ALIKE, *HOLD, *HOLD_LIFTS)
OFF_PAGE = (*EXPOSURE, *CLOCK, *SPEED, *SMOOTH, *LAW, *WAVES, *PEN, *SNIPS, *SNIP, *BACK)
OFF_PAGE += (*AIMS, *HITS, *WIDTH, *THROUGHPUT, *HANDS, *GUIDE, *STEERING)
"""What neither the place of the page nor its direction has to do with."""

SCREEN = (*GEOMETRY, *SIGNED, *AIM_X, *AIM_Y, *PHASE)
"""All that is left beside `OFF_PAGE` and `MIDLINE`."""

PEN_DOWN_S = moves.DRAWN_S - 1 / moves.RATE_HZ
TRIMMED = "the first and last 50 ms of every stroke are left out"
SAMPLE = "one step between samples is lost"
EATEN = "the low-pass takes about 0.03 s from every stop, whatever the speed"
BLURRED = "the low-pass takes more from a fast movement than from a slow one"

NOTHING_TO_COUNT: set[str] = set()
"""Measures that are 0 in all drawings."""

TWICE = "where the line is drawn twice, the other passage is now the first"

SHIFTED: list[Row] = [(Stays(), (*SCREEN, *OFF_PAGE, *MIDLINE))]

TURNED: list[Row] = [
    (Stays(), (*GEOMETRY, *SIGNED, *OFF_PAGE)),
    (Changes("its axes are those of the page"), (*AIM_X, *AIM_Y)),
    (Changes("a hand's swing is looked at along an axis of the page"), PHASE),
    (Changes("the midline stays upright"), MIDLINE),
]

MIRRORED: list[Row] = [
    (Stays(), (*GEOMETRY, *OFF_PAGE, *AIM_Y, *MIDLINE)),
    (Scales(-1.0), (*SIGNED, *AIM_X)),
    (Stays(near=0.02, why="degrees; whole cycles of contact 0, which has the other part"), PHASE),
]

BACKWARDS: list[Row] = [
    (Stays(), ("deviation_max", *EXPOSURE, *DEPARTURES, *OUTSIDE, *GAP, *CORNERS)),
    (Stays(rel=5e-3, near=2e-3, why=TWICE), (*PROFILE[:2], *OUTWARD, *SHARES, *CURVES)),
    (Stays(rel=0.05, why=TWICE), PROFILE[2:]),
    (Scales(-1.0, rel=5e-3, why="left of travel is now right of it; " + TWICE), SIGNED),
    (Becomes("stop_error"), START),
    (Becomes("start_error"), STOP),
    (Changes("the other end is drawn past"), PAST),
    (Changes("the other end has its own rest"), ("start_dwell",)),
    (
        Stays(),
        (*TIMES, *MOVING, *PAUSES, *PAUSED, *LIFTS, *AIR, *SWITCHES, "initiation_time", *SPEED),
    ),
    (Stays(), (*PRESSED, *PRESSURE_PEAKS, *SNIPS, *SNIP, *BACK, *GUIDE, *STEERING, "sparc")),
    (Stays(near=1e-3, why="padding of the low-pass"), ("log_dimensionless_jerk",)),
    (Stays(near=0.06, rel=2e-3, why="padding of the low-pass"), LAW),
    (Stays(rel=0.01, why="at a corner a sample may go to the other side of it"), WAVES),
    (Changes("means of 0.5 s are taken from the first contact on"), DRIFT),
    (
        Stays(near=0.3, why="mm; of two taps on a target the other is first"),
        (*AIMS, *AIM_X, *AIM_Y),
    ),
    (Stays(), HITS),
    (Changes("an error is taken along the way to the target, now from the other side"), WIDTH),
    (Changes("as the effective width"), THROUGHPUT),
    (Stays(near=1e-4), (*DIFFERENCE, *HOLD_LIFTS, *MIDLINE)),
    (Scales(-1.0, near=1e-4, why="who was behind is now ahead"), LAG),
    (Stays(near=1e-3, why="the common grid lies otherwise"), ALIKE),
    (Scales(-1.0, near=0.02, why="degrees; who was behind is now ahead"), PHASE[:1]),
    (Stays(near=0.02, why="degrees; the common grid lies otherwise"), PHASE[1:]),
    (Changes("the farthest place from where the hold was put down is another"), HOLD),
]

SLOWED: list[Row] = [
    (Stays(), (*GEOMETRY, *SIGNED, *EXPOSURE, *AIMS, *AIM_X, *AIM_Y, *HITS)),
    (Stays(), (*WIDTH, *PAUSES, *LIFTS, *SWITCHES, *SNIPS, *BACK, *GUIDE, *DIFFERENCE, *HOLD)),
    (Stays(), (*HOLD_LIFTS, *CROSSINGS, *AT_MIDLINE, *ZONE_DISTANCE, *REACH)),
    (Scales(2.0), (*BEGINNING, *TIMES, *AIR, *OUTSIDE)),
    (Scales(2.0, near=0.15, why=EATEN), (*MOVING, *PAUSED)),
    (Stays(rel=0.005, why=BLURRED), PATH),
    (Scales(0.5, rel=0.03, why=BLURRED), (*MEANS, *PEAKS[:1])),
    (Scales(0.5, rel=0.07, why=BLURRED), PEAKS[1:]),
    (Stays(near=0.03, why=BLURRED), SPREAD),
    (Changes("a peak must stand out by 2 mm/s"), SPEED_PEAKS),
    (Stays(near=0.02, why="its spectrum ends at 10 Hz"), ("sparc",)),
    (Changes("the 5 Hz low-pass takes most of a fast movement's jerk"), SMOOTH[1:]),
    (Changes("waves of 3 Hz are blurred, the same waves at half the speed are not"), LAW),
    (Changes("all waves are half as fast"), WAVES),
    (Stays(near=0.006, why=TRIMMED), PRESSED),
    (Changes("means of 0.5 s are taken from other parts of the swing"), DRIFT),
    (Scales(0.5, rel=0.02, why=TRIMMED), PRESSURE_PEAKS),
    (Stays(rel=0.01, why="pauses end where the speed passes 5 mm/s"), SNIP),
    (Scales(0.5), (*THROUGHPUT, *STEERING)),
    (Scales(2.0, near=0.01, why=BLURRED), LAG),
    (Stays(near=2e-3, why=BLURRED), ALIKE),
    (Stays(near=0.01, why="degrees; " + BLURRED), PHASE),
    (Stays(rel=5e-3, why=BLURRED), ZONE),
]

LIFTED: list[Row] = [
    (Stays(near=5e-3, rel=3e-3, why=SAMPLE), (*GEOMETRY, *SIGNED, *EXPOSURE)),
    (Stays(), (*BEGINNING, "duration", *SWITCHES, *PAUSES, *BACK, *GUIDE, *HOLD, *OUTSIDE)),
    (Scales(plus=-1 / moves.RATE_HZ, near=5e-3, why=SAMPLE), ("pen_down_time", *MOVING)),
    (Stays(near=5e-3, why="the even grid of the second stroke begins anew"), PAUSED),
    (Scales(plus=1.0), (*LIFTS, *SNIPS)),
    (Scales(plus=1 / moves.RATE_HZ), AIR),
    (Stays(rel=2e-3, why=SAMPLE), (*PATH, *MEANS, *PEAKS, *STEERING, *ZONE)),
    (Stays(rel=0.02, why="the low-pass begins anew"), SPREAD),
    (
        Changes("speed counts as 0 at both ends of a stroke, so one more peak may stand out"),
        SPEED_PEAKS,
    ),
    (Changes("strokes are measured one by one"), (*SMOOTH, *SNIP)),
    (Stays(near=0.1, rel=0.12, why="0.25 s at both ends of a stroke are left out"), LAW),
    (Changes("only strokes of at least 3 s are looked at, in whole windows"), WAVES),
    (Stays(near=0.015, why=TRIMMED), PRESSED),
    (Stays(near=2e-3, why=TRIMMED), DRIFT),
    (Stays(rel=0.35, why=TRIMMED + ", and a peak with it"), PRESSURE_PEAKS),
    (Stays(near=0.05, why=SAMPLE), (*AIMS, *AIM_X, *AIM_Y, *HITS)),
    (Stays(near=2e-3, why=SAMPLE), (*DIFFERENCE, *LAG, *ALIKE, *PHASE)),
    (Changes("the pen was lifted, or the hold was"), HOLD_LIFTS),
    (Stays(near=3e-3, why=SAMPLE), (*CROSSINGS, *AT_MIDLINE, *ZONE_DISTANCE, *REACH)),
    (Changes("a tap lifted is two taps"), (*WIDTH, *THROUGHPUT)),
]

LONGER = PEN_DOWN_S / (PEN_DOWN_S + moves.REST_S)
RESTED: list[Row] = [
    (Stays(), (*GEOMETRY, *SIGNED, *AIMS, *AIM_X, *AIM_Y, *HITS, *WIDTH, *BACK, *GUIDE)),
    (Stays(), (*BEGINNING, *LIFTS, *AIR, *OUTSIDE, *SWITCHES, *DIFFERENCE, *HOLD, *HOLD_LIFTS)),
    (Stays(), (*CROSSINGS, *AT_MIDLINE, *ZONE_DISTANCE, *REACH, "pause_count_2s")),
    (Changes("where the pen rested weighs for as long as it rested"), EXPOSURE),
    (Scales(plus=moves.REST_S), TIMES),
    (Stays(near=0.08, why=EATEN + "; a tap held still is no movement"), MOVING),
    (Scales(plus=1.0), ("pause_count", *SNIPS)),
    (Scales(plus=moves.REST_S, near=0.06, why=EATEN), PAUSED),
    (Stays(rel=1e-3, why="the low-pass overshoots a sudden stop"), PATH),
    (Scales(LONGER, rel=2e-3, why="the same length in 1 s more"), MEANS[:1]),
    (Stays(rel=0.01, why="slowing into and out of the rest"), MEANS[1:]),
    (Stays(rel=0.02, why="1 s of rest moves the quantile"), PEAKS),
    (Changes("slowing into and out of the rest"), (*SPREAD, *SPEED_PEAKS)),
    (Changes("a rest is an interruption"), (*SMOOTH, *SNIP)),
    (Changes("slowing into a rest has nothing to do with bends"), LAW),
    (Changes("a stop is a fast wave"), WAVES),
    (Changes("the pressure at the rest weighs 1 s more"), (*PRESSED, *DRIFT, *PRESSURE_PEAKS)),
    (Scales(7.8 / 8.8, why="13 movements of 0.6 s take 1 s more"), THROUGHPUT),
    (Scales(LONGER, why="the same index over 1 s more"), STEERING),
    (Scales(LONGER, rel=2e-3, why="the rest lies beside the zone"), ZONE[:1]),
    (Changes("a rest beside the zone slows the flanks"), ZONE[1:]),
    (Changes("to rest together is to move alike"), (*LAG, *ALIKE, *PHASE)),
]

RESAMPLED: list[Row] = [
    (
        Stays(rel=0.01, near=0.02, why="chords of up to 1.3 mm, and the last step of a stroke"),
        (*DISTANCES, *SIGNED, *OUTWARD, *EXPOSURE, *SHARES, *DEPARTURES, *OUTSIDE, *ENDS),
    ),
    (Stays(rel=0.01, why="chords of up to 1.3 mm, resampled to 1 mm"), CURVES),
    (Stays(rel=0.06, why="a chord of 1.3 mm passes nearer to a corner than the arc"), CORNERS),
    (Stays(near=0.03, why="one step between samples for each stroke"), (*BEGINNING, *PAUSED)),
    (Stays(near=0.18, why="one step between samples for each of 14 taps"), (*TIMES, *MOVING, *AIR)),
    (Stays(), (*PAUSES, *LIFTS, *SWITCHES, *SNIPS, *BACK, *GUIDE, *HITS, *HOLD_LIFTS)),
    (Stays(rel=0.005, why="the last step of every stroke"), (*PATH, *MEANS, *STEERING)),
    (Stays(rel=0.05, why="60 Hz keep less of what is fast"), (*PEAKS, *SPREAD)),
    (Stays(rel=0.2, why="two of ten peaks stand out by about the limit"), SPEED_PEAKS),
    (Stays(near=0.02, why="its spectrum is cut at a sample"), ("sparc",)),
    (Stays(near=0.6, why="60 Hz keep less of what is fast"), SMOOTH[1:]),
    (Stays(near=0.05, rel=0.1, why="curvature is a second difference"), LAW),
    (Changes("a bulge passed in 0.15 s has its fast waves beyond 60 Hz"), WAVES),
    (Stays(near=1e-3, why="the last step of every stroke"), (*PRESSED, *DRIFT, *PRESSURE_PEAKS)),
    (Stays(rel=0.01, why="pauses end between samples"), SNIP),
    (
        Stays(near=0.15, why="mm; the nearest of two sides of a sharp corner"),
        (*AIMS, *AIM_X, *AIM_Y),
    ),
    (Stays(), (*WIDTH, *THROUGHPUT)),
    (Stays(near=1e-4), (*DIFFERENCE, *HOLD)),
    (Stays(near=5e-3, why="60 Hz are interpolated to 120 Hz"), (*LAG, *ALIKE, *PHASE)),
    (Stays(), (*CROSSINGS, *AT_MIDLINE)),
    (Stays(rel=0.01, near=2e-3, why="chords of up to 1.3 mm"), (*ZONE, *ZONE_DISTANCE, *REACH)),
]

AT_60_HZ: list[Row] = [
    *((effect, names) for effect, names in RESAMPLED if names not in (LAW, WAVES)),
    (Refuses("rate_too_low", why="curvature needs 100 Hz"), LAW),
    (Refuses("rate_too_low", why="so does the share of fast waves"), WAVES[:1]),
    (Changes("a bulge passed in 0.15 s has its fast waves beyond 60 Hz"), WAVES[1:]),
]

TABLES: dict[str, tuple[Move, tuple[Mode, ...], list[Row]]] = {
    "shifted": (moves.shifted, moves.MODES, SHIFTED),
    "turned": (moves.turned, moves.MODES, TURNED),
    "mirrored": (moves.mirrored, moves.MODES, MIRRORED),
    "drawn backwards": (moves.drawn_backwards, moves.MODES, BACKWARDS),
    "in twice the time": (moves.twice_as_long, moves.MODES, SLOWED),
    # A tap that is lifted is two taps, which is another trial.
    "lifted": (moves.lifted, ("cut", "join", "both"), LIFTED),
    "rested": (moves.rested, moves.MODES, RESTED),
    "at 120 Hz": (moves.at_120_hz, moves.MODES, RESAMPLED),
    "at 60 Hz": (moves.at_60_hz, moves.MODES, AT_60_HZ),
}
"""What is done, in which modes, and what becomes of every measure."""


@cache
def before(mode: Mode) -> tuple[dict[str, Value], ...]:
    return tuple(measure_all(Workings(one)) for one in moves.drawings(mode))


@cache
def after(change: str, mode: Mode) -> tuple[dict[str, Value], ...]:
    move = TABLES[change][0]
    return tuple(measure_all(Workings(move(one))) for one in moves.drawings(mode))


def effects(change: str) -> dict[str, Effect]:
    return {name: effect for effect, names in TABLES[change][2] for name in names}


def is_plain(effect: Effect) -> bool:
    """Whether a tolerance or a change that needs a reason is absent, or has one."""
    if isinstance(effect, Changes):
        return bool(effect.why)
    return bool(effect.why) or (effect.rel <= 1e-4 and effect.near <= 1e-4)


@pytest.mark.parametrize("change", TABLES)
def test_a_table_says_once_of_every_measure_what_becomes_of_it(change: str) -> None:
    rows = [name for _, names in TABLES[change][2] for name in names]
    assert sorted(rows) == sorted(IDS)
    assert all(is_plain(effect) for effect, _ in TABLES[change][2])


@pytest.mark.parametrize("name", IDS)
@pytest.mark.parametrize("change", TABLES)
def test_the_measure_does_what_the_table_says(change: str, name: str) -> None:
    _, modes, _ = TABLES[change]
    effect = effects(change)[name]
    seen = 0
    for mode in modes:
        for old, new in zip(before(mode), after(change, mode), strict=True):
            if name in old and old[name].number is not None:
                seen += 1
                assert effect.holds(old, new, name), (mode, old[name], new[name])
    assert seen or not (measure(name).modes & set(modes))


def test_the_drawings_give_every_measure_a_number_and_most_a_telling_one() -> None:
    numbers = {
        name: [one[name].number for mode in moves.MODES for one in before(mode) if name in one]
        for name in IDS
    }
    assert [name for name, found in numbers.items() if set(found) <= {None}] == []
    zero = {name for name, found in numbers.items() if set(found) <= {None, 0.0}}
    assert zero == NOTHING_TO_COUNT


@settings(max_examples=15, deadline=None, derandomize=True)
@given(turn_deg=st.floats(-180, 180), dx=st.floats(-500, 500), dy=st.floats(-500, 500))
def test_no_turn_and_no_shift_changes_what_the_page_has_nothing_to_do_with(
    turn_deg: float, dx: float, dy: float
) -> None:
    a = np.radians(turn_deg)
    matrix = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    for one, old in zip(moves.drawings("cut"), before("cut"), strict=True):
        moved = moves.on_the_page(
            one, lambda xy: xy @ matrix + np.array([dx, dy]), midline_mm=lambda _: None
        )
        new = measure_all(Workings(moved))
        for name in (*GEOMETRY, *SIGNED, *EXPOSURE, *CLOCK, *SPEED, *GUIDE):
            if old[name].number is None:
                assert new[name] == old[name], name
            else:
                assert Stays().holds(old, new, name), (name, old[name], new[name])


@pytest.mark.parametrize("mode", ["trace", "cut"])
def test_samples_added_on_the_line_that_was_drawn_change_no_distance(mode: Mode) -> None:
    """Between two samples of a stroke a third: the same polygon, so the same distances."""
    for one in moves.drawings(mode):
        trace = one.trace
        assert trace.t_s is not None
        rows = np.arange(2 * len(trace) - 1) / 2
        places = np.arange(len(trace))
        rows = rows[np.interp(rows, places, trace.stroke) % 1 == 0]  # none across a lift
        columns = [np.interp(rows, places, column) for column in (*trace.xy_mm.T, trace.t_s)]
        dense = Trace(
            xy_mm=np.column_stack(columns[:2]),
            t_s=columns[2],
            stroke=np.interp(rows, places, trace.stroke).astype(np.int64),
        )
        plain = measure_all(Workings(one))
        more = measure_all(Workings(replace(one, trace=dense)))
        assert close(more["hausdorff_distance"], plain["hausdorff_distance"].number, Stays())
        farthest_mm = plain["deviation_max"].number
        assert farthest_mm is not None
        assert (more["deviation_max"].number or 0.0) <= farthest_mm + 0.01  # on a bend
        for name in (*PROFILE, *SHARES, *SIGNED, "area_between", "closure_error", "stop_error"):
            if plain[name].number is not None:
                assert close(more[name], plain[name].number, Stays(rel=2e-3, near=2e-3)), name
