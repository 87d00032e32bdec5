"""From a task and its guide to an item of a plan."""

from typing import Any

from server.library_steps import HALF_BAND, Step, TaskDict, at_step
from server.placing import GuideDict

PRESSURE = "pressure"
CARRIED = ("task_id", "revision", "mode", "name", "use", "criterion", "pressure_band", "needs")


def with_pressure_band(task: TaskDict, median: float, *, step: Step | None = None) -> TaskDict:
    """Task with its band of pressure about the child's own median.

    Parameters
    ----------
    task : dict
        A ``linnet-task/1`` that needs pressure.
    median : float
        The child's median pressure with this pen, a share of its range. [1]
    step : Step or None
        One of the task's steps; None is the usual one.

    Returns
    -------
    dict
        The task with `pressure_band`; a bound beyond the pen's range is left at its end.

    Raises
    ------
    ValueError
        If the task has no band, the median is not between 0 and 1, or there is no such step.

    Examples
    --------
    >>> from server.library import task_of
    >>> with_pressure_band(task_of("slow-tide"), 0.42)["pressure_band"]
    [0.32, 0.52]
    """
    shown = at_step(task, step)
    if shown.get(HALF_BAND) is None:
        raise ValueError(f"{task['name']} has no band of pressure")
    # Also false for a number that is none.
    if not 0.0 < median < 1.0:
        raise ValueError("the median must lie between 0 and 1")
    half = shown[HALF_BAND]
    band = [round(max(0.0, median - half), 4), round(min(1.0, median + half), 4)]
    return shown | {"pressure_band": band}


def plan_item(
    task: TaskDict,
    *,
    item_id: str,
    guide: GuideDict,
    condition: dict[str, Any],
    repetitions: int = 1,
    state: str = "open",
) -> dict[str, Any]:
    """Item of a ``linnet-plan/1``: one task asked a number of times.

    Parameters
    ----------
    task : dict
        A ``linnet-task/1``.
    item_id : str
        Unique in its plan; never used again.
    guide : dict
        What `placed` returned for this task.
    condition : dict
        Hand, direction, position and tool.
    repetitions : int
        How many attempts are asked. [1]
    state : str
        ``open`` or ``closed``.

    Returns
    -------
    dict
        The item, shown as a corridor, without a go signal.

    Raises
    ------
    ValueError
        If the task needs pressure and its band has not been chosen for the child.
    """
    if PRESSURE in (task.get("needs") or []) and task.get("pressure_band") is None:
        raise ValueError(f"{task['name']} needs a band about the child's own median pressure")
    return {
        "item_id": item_id,
        "state": state,
        "repetitions": repetitions,
        "task": {key: task[key] for key in CARRIED if task.get(key) is not None},
        "guide": guide,
        "condition": condition,
        "show": {"guide": "corridor", "cue": False, "feedback": "still", "quiet": False},
    }
