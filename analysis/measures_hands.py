"""Measures of which hand is taken, and of hand and direction against each other."""

from collections.abc import Callable

from analysis.hand_direction import (
    CellMeans,
    across_body_contrast,
    direction_contrast,
    effect,
    hand_contrast,
    laterality_index,
)
from analysis.measure import SeriesMeasure
from analysis.series import Series
from analysis.value import Estimate

HANDS = "Hand and direction"
REASONS = frozenset({"too_few_trials", "hand_unknown"})
PAIRED = (
    "Each block with all four cells gives one contrast of its cell means; the number is their "
    "mean. 95 % interval: all centres that the sign-flip test of the blocks does not reject "
    "(6 to 12 blocks), percentile bootstrap of 2000 resamples with a fixed seed (more than 12)."
)
CELLS = (
    "Same guide, hands left and right as asked, directions left to right and right to left, at "
    "least 3 trials in each cell; free choices are kept apart. No interval below 6 blocks: no "
    "sign flip is rare enough. Practice within a block goes into the effect unless the order "
    "was random."
)


def _effect(
    id_: str, label: str, meaning: str, contrast: Callable[[CellMeans], float], formula: str
) -> SeriesMeasure:
    def function(series: Series) -> float | Estimate:
        found = effect(series.cells, contrast)
        if found.low is None or found.high is None:
            return found.number
        return Estimate(found.number, found.low, found.high)

    return SeriesMeasure(
        id=id_,
        label=label,
        unit="{unit}",
        family=HANDS,
        meaning=meaning,
        function=function,
        formula=f"{formula}. {PAIRED}",
        edges=CELLS,
        refuses=REASONS,
        interval=True,
        decimals=2,
        source="Linnet convention; Hartigan 1969, J Am Stat Assoc 64:1303 (from memory)",
    )


HAND_MEASURES: tuple[SeriesMeasure, ...] = (
    SeriesMeasure(
        id="laterality_index",
        label="Hand taken by choice",
        unit="1",
        family=HANDS,
        meaning="100 if the right hand was taken each time, -100 if the left, over free-choice "
        "trials.",
        function=lambda s: laterality_index(s.hands),
        interval=True,
        formula="100 (R - L)/(R + L); 95 % interval 200 Wilson(R of R + L) - 100.",
        edges="Refused below 5 choices. An interval that spans 0 settles nothing. A description "
        "of these trials, no norm.",
        refuses=REASONS,
        decimals=0,
        source="Oldfield 1971, Neuropsychologia 9:97 (index form); Wilson 1927",
    ),
    _effect(
        "hand_effect",
        "Left hand less right hand",
        "Mean with the left hand less mean with the right hand, over both directions.",
        hand_contrast,
        "mean(L cells) - mean(R cells)",
    ),
    _effect(
        "direction_effect",
        "Right to left less left to right",
        "Mean drawn to the left less mean drawn to the right, over both hands.",
        direction_contrast,
        "mean(right-to-left cells) - mean(left-to-right cells)",
    ),
    _effect(
        "across_body_effect",
        "Ending across the body less on the own side",
        "Mean of moves that end opposite the hand less mean of those that end on its own side.",
        across_body_contrast,
        "[m(R, to left) + m(L, to right)]/2 - [m(R, to right) + m(L, to left)]/2, the "
        "interaction of hand and direction",
    ),
)
