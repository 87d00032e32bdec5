"""The library's tasks for two hands at once: two fingers on one tablet."""

import numpy as np

from analysis import shapes
from analysis.flattening import settled
from server.library_lines import line_task
from server.library_steps import TaskDict, rungs
from server.placing import listed

OAR_MM, OARS_APART_MM = 80.0, 100.0
HOLD_RADIUS_MM, RING_RADIUS_MM = 15.0, 30.0
# From the middle of what is held to the left edge of the ring.
HOLD_TO_RING_MM = 66.0


def _two_oars() -> TaskDict:
    """Two upright lines, 50 mm either side of the midline; the left one is the first part."""
    left_mm = shapes.line(0.0, OAR_MM)
    made = line_task(
        "two-oars",
        "Two Oars",
        "line",
        left_mm,
        direction="downward",
        widths_mm=rungs(24.0, 12.0),
        usual_mm=18.0,
        mode="both",
        size_mm=[OARS_APART_MM, OAR_MM],
        about_midline=True,
    )
    lines = (left_mm, left_mm + np.array([OARS_APART_MM, 0.0]))
    (part,) = made["parts"]
    return made | {"parts": [part | {"points_mm": listed(line_mm)} for line_mm in lines]}


def _capstan() -> TaskDict:
    """A disc to hold at the left and a ring to follow at its right."""
    ring_mm = settled(
        shapes.circle(RING_RADIUS_MM) + np.array([HOLD_TO_RING_MM, 0.0]), origin_mm=(0.0, 0.0)
    )
    return line_task(
        "capstan",
        "Capstan",
        "circle",
        ring_mm,
        direction="clockwise",
        widths_mm=rungs(24.0, 12.0),
        usual_mm=18.0,
        closed=True,
        mode="both",
        targets_mm=[{"x": 0.0, "y": RING_RADIUS_MM, "radius": HOLD_RADIUS_MM, "order": 0}],
    )


TWO_OARS, CAPSTAN = _two_oars(), _capstan()
