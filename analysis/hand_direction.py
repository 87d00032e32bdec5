"""Which hand is taken, and what hand and direction of drawing do to a measure."""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import floor
from statistics import fmean

import numpy as np

from analysis.proportions import wilson_interval
from analysis.series import CellTrial
from analysis.trace import FloatArray
from analysis.value import Estimate, Refused

LEAST_CHOICES = 5
"""Fewer free choices of hand say nothing, however they fell."""

LEAST_IN_CELL = 3
"""Trials in each of the four cells; below, only raw values are shown."""

EXACT_BLOCKS = 12
"""Up to here all sign flips are counted: 2^12 = 4096. Beyond, blocks are resampled."""

RESAMPLES = 2000
"""Bootstrap samples: the ends of a 95 % interval then move by about 2 % of its length."""

SEED = 1
"""Of the resampling, so that the same trials always give the same interval."""

TAIL_SHARE = 0.025
"""Left out at either end of a 95 % interval."""

LEFT, RIGHT = "left", "right"
TO_RIGHT, TO_LEFT = "left_to_right", "right_to_left"
CELLS = tuple((hand, way) for hand in (LEFT, RIGHT) for way in (TO_RIGHT, TO_LEFT))

CellMeans = Mapping[tuple[str, str], float]


def laterality_index(hands: Sequence[str | None]) -> Estimate:
    """Which hand a child takes when it is free to choose.

    Parameters
    ----------
    hands : sequence of str or None
        ``left`` or ``right`` for each free-choice trial; anything else is left out.

    Returns
    -------
    Estimate
        ``100 (R - L) / (R + L)`` within -100..100, with ``200 Wilson - 100``. [1]

    Raises
    ------
    Refused
        ``too_few_trials`` below five choices; ``hand_unknown`` if there were as many trials,
        but the hand of too many is not known.

    References
    ----------
    Oldfield 1971, Neuropsychologia 9:97-113 (the form of the index); Wilson 1927.

    Examples
    --------
    >>> laterality_index(["right"] * 8 + ["left"] * 2).number
    60.0
    """
    right, left = hands.count(RIGHT), hands.count(LEFT)
    count = right + left
    if count < LEAST_CHOICES:
        enough = count + hands.count(None) >= LEAST_CHOICES
        raise Refused("hand_unknown" if enough else "too_few_trials")
    low, high = wilson_interval(right, count)
    return Estimate(100.0 * (right - left) / count, 200.0 * low - 100.0, 200.0 * high - 100.0)


@dataclass(frozen=True)
class Effect:
    """A contrast of the four cells.

    Parameters
    ----------
    number : float
        Mean over blocks. [unit]
    low, high : float or None
        95 % interval; None below six blocks, where no sign flip is rare enough. [unit]
    p : float or None
        Two-sided, by sign flips; None where blocks were resampled. [1]
    blocks : int
        Blocks with all four cells. [1]
    """

    number: float
    low: float | None
    high: float | None
    p: float | None
    blocks: int


def hand_contrast(m: CellMeans) -> float:
    """Left hand less right hand."""
    left = m[LEFT, TO_RIGHT] + m[LEFT, TO_LEFT]
    return (left - m[RIGHT, TO_RIGHT] - m[RIGHT, TO_LEFT]) / 2.0


def direction_contrast(m: CellMeans) -> float:
    """Right to left less left to right."""
    to_left = m[LEFT, TO_LEFT] + m[RIGHT, TO_LEFT]
    return (to_left - m[LEFT, TO_RIGHT] - m[RIGHT, TO_RIGHT]) / 2.0


def across_body_contrast(m: CellMeans) -> float:
    """Moves that end opposite the hand less moves that end on the hand's own side."""
    opposite = m[RIGHT, TO_LEFT] + m[LEFT, TO_RIGHT]
    return (opposite - m[RIGHT, TO_RIGHT] - m[LEFT, TO_LEFT]) / 2.0


def effect(
    cells: Sequence[CellTrial], contrast: Callable[[CellMeans], float], *, seed: int = SEED
) -> Effect:
    """A contrast of hand and direction, paired by block.

    Parameters
    ----------
    cells : sequence of CellTrial
        Trials of one guide; hands and directions that are not of the four cells are left out.
    contrast : callable
        One of the three contrasts above.
    seed : int
        Of the resampling beyond twelve blocks.

    Returns
    -------
    Effect
        Only blocks with all four cells count: block by block, the contrast of the means of
        the cells, and then their mean.

    Raises
    ------
    Refused
        ``too_few_trials`` below three trials in a cell; ``hand_unknown`` if knowing the hands
        could have filled the cells.
    """
    blocks = complete_blocks(cells)
    steps = np.array([contrast(block) for block in blocks])
    number, count = float(steps.mean()), len(steps)
    if count > EXACT_BLOCKS:
        means = np.sort(_resampling(count, seed) @ steps)
        ends = np.quantile(means, [TAIL_SHARE, 1 - TAIL_SHARE])
        return Effect(number, float(ends[0]), float(ends[1]), None, count)
    low, high = _typical_interval(steps)
    return Effect(number, low, high, sign_flip_p(steps), count)


def complete_blocks(cells: Sequence[CellTrial]) -> list[dict[tuple[str, str], float]]:
    """Return the cell means of each block that has all four; errors as in `effect`."""
    blocks: defaultdict[int, defaultdict[tuple[str, str], list[float]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for trial in cells:
        if trial.hand is not None and trial.direction is not None:
            blocks[trial.block][trial.hand, trial.direction].append(trial.value)
    whole = [block for block in blocks.values() if all(cell in block for cell in CELLS)]
    if any(sum(len(block[cell]) for block in whole) < LEAST_IN_CELL for cell in CELLS):
        ways = [t.direction for t in cells if t.hand in (LEFT, RIGHT, None)]
        enough = all(ways.count(way) >= 2 * LEAST_IN_CELL for way in (TO_RIGHT, TO_LEFT))
        unknown = any(trial.hand is None for trial in cells)
        raise Refused("hand_unknown" if enough and unknown else "too_few_trials")
    return [{cell: fmean(block[cell]) for cell in CELLS} for block in whole]


@lru_cache(maxsize=EXACT_BLOCKS)
def _subsets(count: int) -> FloatArray:
    """Every subset of some things but the empty one, as 0 and 1; shape (2^n - 1, n)."""
    numbers = np.arange(1, 2**count)[:, None]
    return ((numbers >> np.arange(count)) & 1).astype(np.float64)


@lru_cache(maxsize=16)
def _resampling(count: int, seed: int) -> FloatArray:
    """Weights of drawing blocks with replacement; shape (RESAMPLES, n), rows add up to 1."""
    drawn = np.random.default_rng(seed).integers(0, count, (RESAMPLES, count))
    return np.stack([np.bincount(row, minlength=count) for row in drawn]) / count


def sign_flip_p(steps: FloatArray) -> float:
    """Share of sign flips whose mean is at least as far from 0 as the mean itself. [1]

    Examples
    --------
    >>> sign_flip_p(np.array([1.0, 2.0, 3.0]))
    0.25
    """
    flipped = np.abs(steps.sum() - 2.0 * (_subsets(len(steps)) @ steps))
    # The flips of equal sums differ in the last bits only.
    slack = 1e-12 * float(np.abs(steps).sum())
    far = 1 + int(np.count_nonzero(flipped >= abs(float(steps.sum())) - slack))
    return float(far / 2 ** len(steps))


def _typical_interval(steps: FloatArray) -> tuple[float, float] | tuple[None, None]:
    """All centres that sign flips do not reject: an order statistic of the subset means.

    Hartigan 1969, J Am Stat Assoc 64:1303-1317 (from memory): the true centre is as likely in
    any of the 2^n gaps between the means of all subsets.
    """
    outside = floor(TAIL_SHARE * 2 ** len(steps))
    if outside == 0:
        return None, None
    subsets = _subsets(len(steps))
    means = np.sort((subsets @ steps) / subsets.sum(axis=1))
    return float(means[outside - 1]), float(means[-outside])
