"""Quay Edge, the straight line that most scenarios draw, and lines drawn beside it."""

from collections.abc import Callable

from hands import Points
from harbour import item

LINE_Y_MM = 68.0
LINE_FROM_MM, LINE_TO_MM = 13.5, 193.5
LENGTH_MM = LINE_TO_MM - LINE_FROM_MM

LINE = item("quay-edge", item_id="line", repetitions=3)


def beside(offset_mm: Callable[[float], float], count: int = 600) -> Points:
    """A line drawn beside Quay Edge; `offset_mm` gives the distance for the share drawn."""
    return [
        (LINE_FROM_MM + LENGTH_MM * i / count, LINE_Y_MM + offset_mm(i / count))
        for i in range(count + 1)
    ]


def flat(share: float) -> float:
    """On the line itself."""
    return 0.0
