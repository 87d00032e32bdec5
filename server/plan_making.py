"""Making an item of a plan from a task: at one step, for one condition, on one screen."""

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import Field
from sqlalchemy.orm import Session

from analysis.travel import OPPOSITE
from server.faults import Fault
from server.fields import Code, Count, Direction, Hand, Label, Millimetres, Size, Width
from server.library import DoesNotFit, placed, plan_item, steps_of, with_pressure_band
from server.library_fit import ROOMS_MM, TABLET
from server.library_steps import CORRIDOR, Step
from server.plan_items import MAX_REPETITIONS, NO_TASK, Item, ShownFields
from server.problems import Problem
from server.request_fields import Body
from server.store_tasks import task_by_id
from server.tables import random_id
from server.tools import tool_trouble

NO_STEP = "This task has no such step."
NO_CORRIDOR = "This task has no corridor."
HUNDREDTHS = "This must be in whole hundredths of a millimetre."
ONE_OF_TWO = "Give either a corridor or a step."
NO_WAY = "This task cannot be asked in this direction."
NEEDS_MEDIAN = "This task needs the child's own median pressure with this pen."
NO_MEDIAN = "This task has no band of pressure."
TOO_LARGE = "The guide does not fit the screen at this width and midline."

MOST_MM = 200.0


class StepBody(Body):
    """One rung of a task's ladder, as ``/api/tasks`` lists them."""

    dimension: Label
    value: Annotated[float, Field(ge=0, le=10_000)]


class ItemBody(Body):
    """What an item is made from."""

    based_on: Count
    task_id: Code
    revision: Count | None = None
    corridor_mm: Annotated[Width, Field(le=MOST_MM)] | None = None
    step: StepBody | None = None
    direction: Direction | None = None
    hand: Hand
    position: Label | None = None
    tool: Label | None = None
    repetitions: Annotated[int, Field(ge=1, le=MAX_REPETITIONS)]
    screen_mm: Size | None = None
    midline_x_mm: Millimetres | None = None
    pressure_median: Annotated[float, Field(gt=0, lt=1)] | None = None
    show: ShownFields | None = None


def made_item(db: Session, body: ItemBody) -> Item:
    """Return a new, open item with an id of its own.

    Parameters
    ----------
    db : Session
        Database session.
    body : ItemBody
        Which task, and how it is asked.

    Returns
    -------
    dict
        An item of a ``linnet-plan/1``.

    Raises
    ------
    Problem
        422 if there is no such task, or it cannot be asked or shown in this way.
    """
    task = task_by_id(db, body.task_id, body.revision)
    if task is None:
        raise _refused("/task_id", NO_TASK)
    trouble = tool_trouble(task, body.tool)
    if trouble is not None:
        raise _refused("/tool", trouble)
    step = _step(task, body)
    direction = _direction(task, body)
    guide = _guide(task, body, step, direction)
    condition = {
        "hand": body.hand,
        "direction": direction,
        "position": body.position,
        "tool": body.tool,
    }
    item = plan_item(
        _with_band(task, body, step),
        item_id=random_id(),
        guide=guide,
        condition={key: value for key, value in condition.items() if value is not None},
        repetitions=body.repetitions,
    )
    if body.show is not None:
        item["show"] = item["show"] | body.show.model_dump(exclude_none=True)
    return item


def _refused(path: str, sentence: str) -> Problem:
    return Problem(422, errors=[Fault(path, sentence)])


def _step(task: Mapping[str, Any], body: ItemBody) -> Step | None:
    if body.step is None:
        _check_corridor(task, body)
        return None
    if body.corridor_mm is not None:
        raise _refused("/step", ONE_OF_TWO)
    asked = (body.step.dimension, body.step.value)
    for step in steps_of(dict(task)):
        if (step.dimension, step.value) == asked:
            return step
    raise _refused("/step", NO_STEP)


def _check_corridor(task: Mapping[str, Any], body: ItemBody) -> None:
    if body.corridor_mm is None:
        return
    if not any(part.get(CORRIDOR) is not None for part in task.get("parts") or ()):
        raise _refused("/corridor_mm", NO_CORRIDOR)
    if round(body.corridor_mm, 2) != body.corridor_mm:
        raise _refused("/corridor_mm", HUNDREDTHS)


def _direction(task: Mapping[str, Any], body: ItemBody) -> str:
    own: str = task["direction"]
    asked = body.direction or own
    allowed = {own, OPPOSITE[own]} if task["reversible"] else {own}
    if asked not in allowed:
        raise _refused("/direction", NO_WAY)
    return asked


def _guide(
    task: dict[str, Any], body: ItemBody, step: Step | None, direction: str
) -> dict[str, Any]:
    # Where nobody said how large the screen is: the smallest usual one of the task's medium.
    rooms = ROOMS_MM[task.get("medium") or TABLET] if body.screen_mm is None else [body.screen_mm]
    for room_mm in rooms:
        try:
            return placed(
                task,
                corridor_mm=body.corridor_mm,
                step=step,
                screen_mm=room_mm,
                direction=direction,
                midline_x_mm=body.midline_x_mm,
                hand=body.hand,
            )
        except DoesNotFit:
            continue
    raise _refused("/screen_mm" if body.screen_mm is not None else "/task_id", TOO_LARGE)


def _with_band(task: dict[str, Any], body: ItemBody, step: Step | None) -> dict[str, Any]:
    banded = task.get("pressure_half_band") is not None
    if banded and task.get("pressure_band") is None and body.pressure_median is None:
        raise _refused("/pressure_median", NEEDS_MEDIAN)
    if body.pressure_median is None:
        return task
    if not banded:
        raise _refused("/pressure_median", NO_MEDIAN)
    return with_pressure_band(task, body.pressure_median, step=step)
