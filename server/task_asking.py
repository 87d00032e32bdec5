"""What a task can be asked for: its hands and directions, and whether its path has a width."""

from analysis.travel import OPPOSITE
from server.library_steps import TaskDict, steps_of


def directions_of(task: TaskDict) -> list[str]:
    """Return the directions in which a task can be asked, its own first.

    Examples
    --------
    >>> from server.library import task_of
    >>> directions_of(task_of("buoy")), directions_of(task_of("two-islands"))
    (['clockwise', 'anticlockwise'], ['none'])
    """
    own: str = task["direction"]
    both = task["reversible"] and OPPOSITE[own] != own
    return [own, OPPOSITE[own]] if both else [own]


def hands_of(task: TaskDict) -> list[str]:
    """Return the hands that a task can be asked for.

    Examples
    --------
    >>> from server.library import task_of
    >>> hands_of(task_of("two-oars")), hands_of(task_of("swell"))
    (['both'], ['left', 'right', 'free'])
    """
    return ["both"] if task["mode"] == "both" else ["left", "right", "free"]


def has_width(task: TaskDict) -> bool:
    """Return whether a task has a path, and so a width of it.

    Examples
    --------
    >>> from server.library import task_of
    >>> has_width(task_of("swell")), has_width(task_of("portholes"))
    (True, False)
    """
    return any(step.corridor_mm is not None for step in steps_of(task))
