"""The steps of a task: the rungs of its one ladder, easiest first."""

from collections.abc import Sequence
from typing import Any, NamedTuple

TaskDict = dict[str, Any]

WIDTH_LADDER_MM = (24.0, 18.0, 12.0, 8.0, 6.0)

CORRIDOR, DIAMETER = "corridor_mm", "diameter_mm"
HALF_BAND, SNIPS = "pressure_half_band", "snips_asked"
# What a task without a ladder is told by.
LENGTH = "length_mm"
UNITS = {CORRIDOR: "mm", DIAMETER: "mm", HALF_BAND: "1", SNIPS: "1", LENGTH: "mm"}


class Step(NamedTuple):
    """One rung of a task's ladder.

    Attributes
    ----------
    dimension : str
        What changes from rung to rung: ``corridor_mm``, ``diameter_mm``,
        ``pressure_half_band`` or ``snips_asked``; ``length_mm`` where nothing does.
    value : float
        How much of it. [unit]
    unit : str
        UCUM code.
    corridor_mm : float or None
        **Full** width of the corridor at this step, if there is one. [mm]
    """

    dimension: str
    value: float
    unit: str
    corridor_mm: float | None


def rungs(widest_mm: float, finest_mm: float) -> tuple[float, ...]:
    """Return the rungs of the one width ladder from widest to finest. [mm]

    Examples
    --------
    >>> rungs(18, 8)
    (18.0, 12.0, 8.0)
    """
    return tuple(width for width in WIDTH_LADDER_MM if finest_mm <= width <= widest_mm)


def graded(dimension: str, ladder: Sequence[float], usual: float) -> TaskDict:
    """Return the `grade` of a task: the steps beside its usual one, nearest first.

    Parameters
    ----------
    dimension : str
        What changes from rung to rung.
    ladder : sequence of float
        All rungs, easiest first; the usual one is among them. [unit of the dimension]
    usual : float
        The task's own rung. [unit of the dimension]

    Returns
    -------
    dict
        `down` is easier, `up` is harder.

    Examples
    --------
    >>> graded("corridor_mm", (24.0, 18.0, 12.0, 8.0), 12.0)
    {'down': {'corridor_mm': [18.0, 24.0]}, 'up': {'corridor_mm': [8.0]}}
    """
    at = list(ladder).index(usual)
    return {
        "down": {dimension: list(reversed(ladder[:at]))},
        "up": {dimension: list(ladder[at + 1 :])},
    }


def _corridor_mm(task: TaskDict) -> float | None:
    parts = task.get("parts") or [{}]
    width_mm = parts[0].get("corridor_mm")
    return None if width_mm is None else float(width_mm)


def _usual(task: TaskDict, dimension: str) -> float:
    if dimension == CORRIDOR:
        return float(task["parts"][0]["corridor_mm"])
    if dimension == DIAMETER:
        return 2.0 * float(task["targets_mm"][0]["radius"])
    if dimension == SNIPS:
        return float(task["counts_asked"][SNIPS])
    return float(task[dimension])


def steps_of(task: TaskDict) -> list[Step]:
    """Return the steps of a task, easiest first, as its `grade` has them.

    Parameters
    ----------
    task : dict
        A ``linnet-task/1`` of the library or of the practice.

    Returns
    -------
    list of Step
        One at least: a task without a ladder has its length as its one step.

    Examples
    --------
    >>> from server.library import task_of
    >>> [step.value for step in steps_of(task_of("swell"))]
    [18.0, 12.0, 8.0]
    """
    grade = task["grade"]
    own_mm = _corridor_mm(task)
    if not grade["down"] and not grade["up"]:
        return [Step(LENGTH, max(task["size_mm"]), UNITS[LENGTH], own_mm)]
    (dimension,) = {*grade["down"], *grade["up"]}
    easier = list(reversed(grade["down"].get(dimension, [])))
    values = [*easier, _usual(task, dimension), *grade["up"].get(dimension, [])]
    return [
        Step(
            dimension,
            float(value),
            UNITS[dimension],
            float(value) if dimension == CORRIDOR else own_mm,
        )
        for value in values
    ]


def usual_step(task: TaskDict) -> Step:
    """Return the step that a task has by itself.

    Examples
    --------
    >>> from server.library import task_of
    >>> usual_step(task_of("portholes"))
    Step(dimension='diameter_mm', value=12.0, unit='mm', corridor_mm=None)
    """
    steps = steps_of(task)
    (down,) = task["grade"]["down"].values() or [[]]
    return steps[len(down)]


def at_step(task: TaskDict, step: Step | None) -> TaskDict:
    """Return a task as it is at a step; None is its usual one.

    Parameters
    ----------
    task : dict
        A ``linnet-task/1``.
    step : Step or None
        One of `steps_of`.

    Returns
    -------
    dict
        The task with the step's corridor, dots, half band or count.

    Raises
    ------
    ValueError
        If the task has no such step.
    """
    if step is None or step.dimension == LENGTH:
        return task
    if step not in steps_of(task):
        raise ValueError(f"{task['name']} has no such step")
    if step.dimension == CORRIDOR:
        return _with_corridor(task, step.value)
    if step.dimension == DIAMETER:
        radius_mm = 0.5 * step.value
        return task | {"targets_mm": [dot | {"radius": radius_mm} for dot in task["targets_mm"]]}
    if step.dimension == HALF_BAND:
        return task | {HALF_BAND: step.value}
    count = round(step.value)
    return task | {"parts": task["parts"][:count], "counts_asked": {SNIPS: count}}


def _with_corridor(task: TaskDict, width_mm: float) -> TaskDict:
    changed: TaskDict = {"parts": [part | {CORRIDOR: width_mm} for part in task["parts"]]}
    if task.get("template") is not None:
        changed["template"] = task["template"] | {CORRIDOR: width_mm}
    return task | changed
