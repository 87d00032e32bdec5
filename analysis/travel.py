"""The direction in which a guide runs, in words."""

import numpy as np

from analysis.guide import Guide

OPPOSITE = {
    "left_to_right": "right_to_left",
    "right_to_left": "left_to_right",
    "downward": "upward",
    "upward": "downward",
    "clockwise": "anticlockwise",
    "anticlockwise": "clockwise",
    "none": "none",
}


def direction_of(guide: Guide) -> str:
    """Direction in which a guide runs.

    Parameters
    ----------
    guide : Guide
        The guide.

    Returns
    -------
    str
        ``clockwise`` or ``anticlockwise`` (as seen on the page) for a closed guide by its
        signed area; else by the larger extent between its ends; ``none`` if its ends meet
        or its area is 0, as in a figure-eight.
    """
    if guide.closed:
        x, y = guide.parts[0].outline_mm.T
        area_mm2 = float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])) / 2
        if abs(area_mm2) < 0.01 * guide.length_mm**2 / (4 * np.pi):
            return "none"
        return "clockwise" if area_mm2 > 0 else "anticlockwise"
    dx, dy = (guide.last_point_mm - guide.first_point_mm).tolist()
    if abs(dx) < 1e-9 and abs(dy) < 1e-9:
        return "none"
    if abs(dx) >= abs(dy):
        return "left_to_right" if dx > 0 else "right_to_left"
    return "downward" if dy > 0 else "upward"


def is_horizontal(guide: Guide) -> bool:
    """Whether the ends of an open guide lie side by side rather than one above the other."""
    return not guide.closed and direction_of(guide) in {"left_to_right", "right_to_left"}
