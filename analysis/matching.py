"""Which part of the guide each stretch of a trace belongs to.

The nearest point is the wrong one wherever a guide comes back near itself. This is
hidden-Markov map matching over candidate projections (Newson & Krumm 2009, from
memory) with a transition that looks at the heading: retracing is free, a jump to
another lobe is dear.
"""

from dataclasses import dataclass

import numpy as np

from analysis.candidates import Candidates, candidates
from analysis.guide import Guide
from analysis.thinning import keypoints, steadied
from analysis.trace import BoolArray, FloatArray, IntArray

WIDEST_HALF_TURN = 1.2
"""No arc of more than twice this lies between two samples of one move. [rad]"""
LONG_MOVE_MM = 1.5
"""Between keypoints nearer than this a pen inside a bend explains itself step by step. [mm]"""

USUAL_STEP_MM, LEAST_WEIGHT, MOST_WEIGHT = 1.4, 0.4, 2.0
"""Thinning leaves keypoints so far apart. [mm] One that stands for more line weighs more, or
a slow tablet would be matched otherwise than a fast one; within bounds, since what the pen
did between far samples is not known. [1]"""


@dataclass(frozen=True)
class MatchSettings:
    """Constants of the matching; all are conventions and are stored with the result.

    Parameters
    ----------
    spacing_mm : float
        Thinning of the trace to keypoints, so that a pause has no weight. [mm]
    candidates : int
        Projections considered per keypoint. [1]
    ripple_mm : float
        Two projections with no ridge higher than this between them are one. [mm]
    sigma_mm : float
        Scale of the Laplace emission cost. [mm]
    jump_cost : float
        Most that a transition costs, however far it leaps. [1]
    reverse_cost_per_mm : float
        Cost of going back along the guide. [1/mm]
    jump_mm : float
        Excess above which a transition counts as a jump. [mm]
    lift_cost, lift_cost_per_mm : float
        Most that a transition over a lift costs, and its growth. [1], [1/mm]
    start_cost_per_mm : float
        Cost of starting away from the start target. [1/mm]
    """

    spacing_mm: float = 1.0
    candidates: int = 6
    ripple_mm: float = 0.05
    sigma_mm: float = 3.0
    jump_cost: float = 60.0
    reverse_cost_per_mm: float = 0.1
    jump_mm: float = 10.0
    lift_cost: float = 6.0
    lift_cost_per_mm: float = 0.1
    start_cost_per_mm: float = 0.05


@dataclass(frozen=True, eq=False)
class Match:
    """Progress at the keypoints of a trace.

    Parameters
    ----------
    keypoint : ndarray of int, shape (k,)
        Indices of the samples that are keypoints.
    s_mm : ndarray, shape (k,)
        Progress, unwrapped on closed guides. [mm]
    lift, jump : ndarray of bool, shape (k - 1,)
        Whether the step to the next keypoint goes over a lift, or leaps along the guide.
    """

    keypoint: IntArray
    s_mm: FloatArray
    lift: BoolArray
    jump: BoolArray


def _free_interval(
    move_mm: FloatArray, change_mm: FloatArray, found: Candidates
) -> tuple[FloatArray, FloatArray]:
    """Least and greatest change of s that a move explains, shape (k-1, c, c). [mm]

    The move along the tangent at either end, or along the arc that turns from the one to
    the other; and then what a pen beside the line goes farther or less far than its foot.
    """
    dots = [
        np.einsum("kc,knc->kn", move_mm, tangent[rows])
        for rows in (slice(None, -1), slice(1, None))
        for tangent in (found.tangent_in, found.tangent_out)
    ]
    low = np.minimum(np.minimum(*dots[:2])[:, :, None], np.minimum(*dots[2:])[:, None, :])
    high = np.maximum(np.maximum(*dots[:2])[:, :, None], np.maximum(*dots[2:])[:, None, :])
    before, after = found.tangent_out[:-1, :, None, :], found.tangent_in[1:, None, :, :]
    cross = before[..., 0] * after[..., 1] - before[..., 1] * after[..., 0]
    turn = np.arctan2(cross, np.einsum("kabi,kabi->kab", before, after))
    half = np.clip(0.5 * np.abs(turn), 1e-9, WIDEST_HALF_TURN)
    middle = before + after
    arc_mm = np.einsum("ki,kabi->kab", move_mm, middle) * half / np.sin(half)
    arc_mm /= np.maximum(np.hypot(middle[..., 0], middle[..., 1]), 1e-3)
    bend_mm = _bend_mm(move_mm, change_mm, turn, found.side_mm)
    low = np.minimum(low, arc_mm) + np.minimum(bend_mm, 0.0)
    return low, np.maximum(high, arc_mm) + np.maximum(bend_mm, 0.0)


def _bend_mm(
    move_mm: FloatArray, change_mm: FloatArray, turn: FloatArray, side_mm: FloatArray
) -> FloatArray:
    """How much farther than the pen its foot goes where the guide turns. [mm]

    At a distance d to the left of a guide that turns right by an angle a the pen goes d * a
    farther than its foot (y runs down). Believed only between feet on the same side, and
    up to the length of the move; inside a bend, where lobes meet, only for long moves.
    """
    here, there = side_mm[:-1, :, None], side_mm[1:, None, :]
    least_mm = np.where(np.abs(here) < np.abs(there), here, there)
    bend_mm = np.where(here * there > 0, -least_mm * turn, 0.0)
    length_mm = np.hypot(*move_mm.T)[:, None, None]
    inside = bend_mm * change_mm > 0
    most_mm = np.where(inside, np.maximum(length_mm - LONG_MOVE_MM, 0.0), length_mm)
    bounded: FloatArray = np.clip(bend_mm, -most_mm, most_mm)
    return bounded


def _wrapped_change(guide: Guide, change_mm: FloatArray) -> FloatArray:
    if not guide.closed:
        return change_mm
    half = guide.length_mm / 2
    wrapped: FloatArray = half - np.mod(half - change_mm, guide.length_mm)
    return wrapped


def _transitions(
    guide: Guide, xy_mm: FloatArray, found: Candidates, lift: BoolArray, settings: MatchSettings
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Cost, change of s and excess of every step between candidates, shape (k-1, c, c)."""
    move_mm = np.diff(xy_mm, axis=0)
    change_mm = _wrapped_change(guide, found.s_mm[1:, None, :] - found.s_mm[:-1, :, None])
    low, high = _free_interval(move_mm, change_mm, found)
    excess_mm = np.maximum(np.maximum(low - change_mm, change_mm - high), 0.0)
    drawn = np.minimum(excess_mm, settings.jump_cost)
    back = settings.reverse_cost_per_mm * np.maximum(0.0, -change_mm)
    drawn += np.where(excess_mm < settings.jump_cost, back, 0.0)
    lifted = np.minimum(settings.lift_cost, settings.lift_cost_per_mm * np.abs(change_mm))
    return np.where(lift[:, None, None], lifted, drawn), change_mm, excess_mm


def _cheapest(first: FloatArray, emission: FloatArray, transition: FloatArray) -> IntArray:
    """Viterbi: the column of the best candidate at each keypoint."""
    total = first + emission[0]
    came_from = np.zeros(emission.shape, dtype=np.int64)
    columns = np.arange(emission.shape[1])
    for step, cost in enumerate(transition, start=1):
        through = total[:, None] + cost
        best = through.argmin(axis=0)
        came_from[step] = best
        total = through[best, columns] + emission[step]
    path = np.empty(len(emission), dtype=np.int64)
    path[-1] = int(total.argmin())
    for step in range(len(emission) - 1, 0, -1):
        path[step - 1] = came_from[step, path[step]]
    return path


def _weight(points_mm: FloatArray, lift: BoolArray) -> FloatArray:
    """Length of line that each keypoint stands for, in usual steps. [1]"""
    step_mm = np.where(lift, 0.0, np.hypot(*np.diff(points_mm, axis=0).T))
    half_mm = 0.5 * (np.append(step_mm, 0.0) + np.insert(step_mm, 0, 0.0))
    weight: FloatArray = np.clip(half_mm / USUAL_STEP_MM, LEAST_WEIGHT, MOST_WEIGHT)
    return weight


def match(
    guide: Guide, xy_mm: FloatArray, stroke: IntArray, settings: MatchSettings | None = None
) -> Match:
    """Match a trace to its guide.

    Parameters
    ----------
    guide : Guide
        The guide, in the asked direction.
    xy_mm : ndarray, shape (n, 2)
        Positions, at least one. [mm]
    stroke : ndarray of int, shape (n,)
        Stroke numbers.
    settings : MatchSettings, optional
        Constants.

    Returns
    -------
    Match
        Progress at the keypoints.
    """
    settings = settings or MatchSettings()
    placed_mm = steadied(xy_mm, stroke)
    keypoint = keypoints(placed_mm, stroke, settings.spacing_mm)
    points_mm = placed_mm[keypoint]
    found = candidates(guide, points_mm, settings.candidates, settings.ripple_mm)
    lift = np.diff(stroke[keypoint]) != 0
    cost, change_mm, excess_mm = _transitions(guide, points_mm, found, lift, settings)
    ahead_mm = found.s_mm[0]
    if guide.closed:
        ahead_mm = np.minimum(ahead_mm, guide.length_mm - ahead_mm)
    emission = found.away_mm / settings.sigma_mm * _weight(points_mm, lift)[:, None]
    path = _cheapest(settings.start_cost_per_mm * ahead_mm, emission, cost)
    steps = np.arange(len(keypoint) - 1)
    change = change_mm[steps, path[:-1], path[1:]]
    excess = excess_mm[steps, path[:-1], path[1:]]
    first = _wrapped_change(guide, found.s_mm[:1, path[0]])
    s_mm = np.concatenate([first, first + np.cumsum(change)])
    return Match(keypoint, s_mm, lift, ~lift & (excess > settings.jump_mm))
