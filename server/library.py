"""The tasks of day one: on a tablet, on a large screen, on paper.

A task is a dict with the fields of ``linnet-task/1``: its parts and dots lie in local
coordinates (bounding box at 0, 0), the first point of the first part is the start, and each
part carries the task's usual corridor. `grade` names the other steps of the task's one
ladder: `down` is easier, `up` is harder, nearest step first; `steps_of` lists them all.
`medium` says where the task belongs; one on paper is printed true to size and then cut,
punched or glued, and what is `counted` is entered by an adult.
"""

from server.library_dots import MOORING_POSTS, NIGHT_BEACONS, PORTHOLES
from server.library_fit import LARGEST_MM
from server.library_hands import CAPSTAN, TWO_OARS
from server.library_lines import SLOW_TIDE, TRACED, WIDE_BRIDGE
from server.library_paper import (
    BUNTING_CURVE,
    CRATE_CARD,
    LIFE_RING,
    PUNCH_ROW,
    ROPE_LENGTHS,
    TAR_LINE,
    TICKET_SNIPS,
)
from server.library_steps import WIDTH_LADDER_MM, Step, TaskDict, steps_of
from server.placing import DoesNotFit, placed, template_of
from server.placing_items import plan_item, with_pressure_band

__all__ = [
    "LARGEST_MM",
    "LIBRARY",
    "WIDTH_LADDER_MM",
    "DoesNotFit",
    "Step",
    "placed",
    "plan_item",
    "steps_of",
    "task_of",
    "template_of",
    "with_pressure_band",
]

LIBRARY: tuple[TaskDict, ...] = (
    *TRACED,
    SLOW_TIDE,
    PORTHOLES,
    MOORING_POSTS,
    NIGHT_BEACONS,
    TWO_OARS,
    CAPSTAN,
    WIDE_BRIDGE,
    TAR_LINE,
    TICKET_SNIPS,
    ROPE_LENGTHS,
    BUNTING_CURVE,
    LIFE_RING,
    CRATE_CARD,
    PUNCH_ROW,
)


def task_of(task_id: str) -> TaskDict:
    """Return the library's task with this id.

    Parameters
    ----------
    task_id : str
        For example ``high-bridge``.

    Returns
    -------
    dict
        A ``linnet-task/1``.

    Raises
    ------
    KeyError
        If the library has no such task.
    """
    for task in LIBRARY:
        if task["task_id"] == task_id:
            return task
    known = ", ".join(task["task_id"] for task in LIBRARY)
    raise KeyError(f"no task {task_id!r}; the library has {known}")
