"""A sound cut piece and a sound series of sessions, and what spoils them."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from analysis import shapes
from analysis.cut import Cut
from analysis.guide import Part
from analysis.series import CellTrial, GoalLevel, Series

SpoilCut = Callable[[Cut], Cut]
SpoilSeries = Callable[[Series], Series]

SQUARE_MM = np.array([[0.0, 0.0], [60.0, 0.0], [60.0, 60.0], [0.0, 60.0]])


def sound_cut() -> Cut:
    """A square with its corners, cut a little outside and not quite straight."""
    outline_mm = np.array([[-1, -1], [30, -2], [61, -1], [62, 30], [61, 61], [30, 60], [-1, 61]])
    return Cut("c", Part(SQUARE_MM, True, np.array(6.0)), outline_mm, calibrated=True)


def _open(one: Cut) -> Cut:
    return replace(one, template=Part(SQUARE_MM, False, np.array(6.0)))


def _crossing(one: Cut) -> Cut:
    return replace(one, template=Part(SQUARE_MM[[0, 2, 1, 3]], True, np.array(6.0)))


def _without_band(one: Cut) -> Cut:
    return replace(one, template=Part(SQUARE_MM, True), band_mm=None)


def _round(one: Cut) -> Cut:
    ring = shapes.circle(32.0)
    return replace(one, template=Part(ring - ring.mean(axis=0) + 30.0, True, np.array(6.0)))


CUT_SPOILT: dict[str, SpoilCut] = {
    "outline": lambda one: replace(one, outline_mm=None),
    "calibrated": lambda one: replace(one, calibrated=False),
    "template": _open,
    "band": _without_band,
    "corner": _round,
    "valid": lambda one: replace(one, outline_mm=SQUARE_MM[[0, 2, 1, 3]]),
}
"""Need of `analysis.cut_workings.CUT_NEEDS`: what makes it unmet."""

CUT_MORE: tuple[tuple[str, SpoilCut], ...] = (
    ("no_samples", lambda one: replace(one, outline_mm=np.empty((0, 2)))),
    ("guide_lacks_feature", _crossing),
    ("outline_invalid", lambda one: replace(one, outline_mm=SQUARE_MM / 3.0)),
    ("outline_invalid", lambda one: replace(one, outline_mm=SQUARE_MM[:2])),
)
"""Further ways to a reason that every measure of a cut gives."""


def sound_series() -> Series:
    """Twelve sessions, five of them the baseline, and everything else a series may hold."""
    cells = [
        CellTrial(hand, way, block, 2.0 + 0.1 * block + (hand == "left") + 0.2 * (way[0] == "l"))
        for block in range(3)
        for hand in ("left", "right")
        for way in ("left_to_right", "right_to_left")
    ]
    return Series(
        days=np.arange(12) * 7.0,
        values=np.array([9.0, 8.5, 9.5, 8.0, 9.0, 7.5, 7.0, 7.5, 6.0, 6.5, 5.0, 5.5]),
        better="low",
        baseline_count=5,
        repeats=np.array([[5.0, 5.5], [6.0, 5.0], [7.0, 7.5], [5.5, 6.5], [8.0, 7.0], [6.0, 6.2]]),
        met=(True, False, True, True, None, True),
        met_of=5,
        goals=(GoalLevel(1.0), GoalLevel(-1.0, 2.0)),
        hands=("right", "right", "left", "right", "right", "left"),
        cells=tuple(cells),
    )


def _first(count: int) -> SpoilSeries:
    return lambda one: replace(
        one, days=one.days[:count], values=one.values[:count], baseline_count=min(count, 5)
    )


def _on_one_day(one: Series) -> Series:
    return replace(one, days=0.0 * one.days)


def _flat(one: Series) -> Series:
    return replace(one, values=0.0 * one.values + 7.0)


def _no_baseline(one: Series) -> Series:
    return replace(one, baseline_count=None)


def _few_repeats(one: Series) -> Series:
    return replace(one, repeats=one.repeats[:4])


def _same_repeats(one: Series) -> Series:
    return replace(one, repeats=np.repeat(one.repeats[:, :1], 2, axis=1))


def _unknown_hands(one: Series) -> Series:
    cells = tuple(replace(cell, hand=None) for cell in one.cells)
    return replace(one, hands=(None,) * len(one.hands), cells=cells)


def _few_choices(one: Series) -> Series:
    return replace(one, hands=one.hands[:4], cells=one.cells[:10])


def _rescored(one: Series) -> Series:
    return replace(one, goals=tuple(replace(goal, rescored=True) for goal in one.goals))


PHASES = ("nonoverlap_all_pairs", "nonoverlap_tau", "tau_u", "two_sd_band", "two_sd_signal_count")
NOISE = ("standard_error_of_measurement", "minimal_detectable_change_95", "reliable_change_index")
HANDS = ("laterality_index", "hand_effect", "direction_effect", "across_body_effect")

SERIES_SPOILT: dict[tuple[str, str], SpoilSeries] = {
    ("trend_slope", "too_few_sessions"): _first(4),
    ("trend_test", "too_few_sessions"): _first(3),
    ("trend_test", "zero_variance"): _flat,
    **{(name, "too_few_sessions"): _first(2) for name in PHASES},
    ("two_sd_band", "zero_variance"): _flat,
    ("two_sd_signal_count", "zero_variance"): _flat,
    **{(name, "too_few_trials"): _few_repeats for name in NOISE},
    **{(name, "zero_variance"): _same_repeats for name in NOISE},
    ("reliable_change_index", "too_few_sessions"): _first(1),
    ("criterion_met_share", "too_few_trials"): lambda one: replace(one, met=one.met[:4]),
    ("goal_attainment_t", "too_few_trials"): lambda one: replace(one, goals=()),
    **{(name, "too_few_trials"): _few_choices for name in HANDS},
    **{(name, "hand_unknown"): _unknown_hands for name in HANDS},
}
"""Measure and reason: what makes its function give it."""

SERIES_MORE: tuple[tuple[str, str, SpoilSeries], ...] = (
    ("trend_slope", "too_few_sessions", _on_one_day),
    ("trend_test", "too_few_sessions", _on_one_day),
    ("nonoverlap_all_pairs", "too_few_sessions", _no_baseline),
    ("tau_u", "too_few_sessions", _no_baseline),
    ("criterion_met_share", "too_few_trials", lambda one: replace(one, met_of=None)),
    ("goal_attainment_t", "too_few_trials", _rescored),
)
"""Further ways to a reason."""
