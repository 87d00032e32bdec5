"""The library's tasks on paper: glued, snipped, cut and punched, true to size."""

from typing import Any

import numpy as np

from analysis import shapes
from analysis.trace import FloatArray
from server.library_dots import dot_task, rows_of_dots
from server.library_fit import PAPER
from server.library_lines import line_task
from server.library_steps import SNIPS, TaskDict, graded
from server.placing import listed

CUTTING_CAUTION = (
    "An adult stays beside the child; scissors and small parts. "
    "Follow local policy and the plan of care."
)
# 1/2, 1/4 and 1/8 of an inch each side, as full widths.
CUT_WIDTHS_MM = (25.4, 12.7, 6.35)
CUT_USUAL_MM = 12.7
STRIP_MM, STRIP_LONG_MM = 25.0, 150.0
SNIP_LADDER = (2, 4, 6)


def _strip_mm() -> FloatArray:
    return shapes.rectangle(STRIP_LONG_MM, STRIP_MM)


def _template(points_mm: FloatArray, **more: Any) -> TaskDict:
    return {"points_mm": listed(points_mm), "closed": True} | more


def _cut_task(
    task_id: str,
    name: str,
    shape: str,
    points_mm: FloatArray,
    *,
    direction: str,
    piece_mm: FloatArray | None = None,
) -> TaskDict:
    """Return a line to cut; `piece_mm` is what falls out, if the line alone is not closed."""
    outline_mm = points_mm if piece_mm is None else piece_mm
    return line_task(
        task_id,
        name,
        shape,
        points_mm,
        direction=direction,
        widths_mm=CUT_WIDTHS_MM,
        usual_mm=CUT_USUAL_MM,
        closed=piece_mm is None,
        mode="cut",
        medium=PAPER,
        size_mm=[round(float(side), 2) for side in outline_mm.max(axis=0)],
        template=_template(outline_mm, corridor_mm=CUT_USUAL_MM),
        criterion={"measure": "cut_within_tolerance_share", "at_least": 0.8},
        cautions=[CUTTING_CAUTION],
    )


TAR_LINE = line_task(
    "tar-line",
    "Tar Line",
    "sine",
    shapes.sine(200.0, 15.0, 2.0),
    direction="left_to_right",
    widths_mm=(12.0,),
    medium=PAPER,
    criterion=None,
    counted=["gaps", "blobs"],
) | {"grade": {"down": {}, "up": {}}}
# A line of glue has no band to stay in: what is counted is where it breaks or swells.
TAR_LINE["parts"][0]["corridor_mm"] = None


def _ticket_snips() -> TaskDict:
    """Six snips across a strip, each away from the child."""
    snips_mm = [np.array([[12.5 + 25.0 * k, STRIP_MM], [12.5 + 25.0 * k, 0.0]]) for k in range(6)]
    made = line_task(
        "ticket-snips",
        "Ticket Snips",
        "line",
        _strip_mm(),
        direction="upward",
        widths_mm=(CUT_USUAL_MM,),
        usual_mm=CUT_USUAL_MM,
        mode="cut",
        medium=PAPER,
        reversible=False,
        criterion=None,
        counts_asked={SNIPS: 6},
        counted=["snips_done"],
        stiffness=["card", "paper"],
        template=_template(_strip_mm()),
        grade=graded(SNIPS, SNIP_LADDER, 6),
        cautions=[CUTTING_CAUTION],
        start_radius_mm=None,
        stop_radius_mm=None,
    )
    lines = [
        {"points_mm": listed(snip_mm), "closed": False, "corridor_mm": None} for snip_mm in snips_mm
    ]
    return made | {"parts": lines}


def _rope_lengths() -> TaskDict:
    """A straight cut along the lower side of a strip."""
    return _cut_task(
        "rope-lengths",
        "Rope Lengths",
        "line",
        shapes.line(STRIP_LONG_MM) + np.array([0.0, STRIP_MM]),
        direction="left_to_right",
        piece_mm=_strip_mm(),
    )


def _bunting_curve() -> TaskDict:
    """A flag that hangs from the paper's upper edge: that edge closes the piece."""
    curve_mm = shapes.arc(80.0, 140.0)
    return _cut_task(
        "bunting-curve",
        "Bunting Curve",
        "arc",
        curve_mm,
        direction="left_to_right",
        piece_mm=curve_mm,
    )


TICKET_SNIPS = _ticket_snips()
ROPE_LENGTHS = _rope_lengths()
BUNTING_CURVE = _bunting_curve()
LIFE_RING = _cut_task(
    "life-ring", "Life-ring", "circle", shapes.circle(40.0), direction="clockwise"
)
CRATE_CARD = _cut_task(
    "crate-card", "Crate Card", "square", shapes.square(80.0), direction="clockwise"
)

# Two strips of five: a punch reaches the middle of a narrow strip.
PUNCH_ROW = dot_task(
    "punch-row",
    "Punch Row",
    "tap",
    rows_of_dots(5, 2, step_mm=30.0, row_mm=40.0),
    direction="left_to_right",
    ladder_mm=(12.0, 8.0),
    medium=PAPER,
    criterion=None,
    counted=["hits"],
    cautions=[CUTTING_CAUTION],
)
