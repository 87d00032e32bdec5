"""At which step of its task a trial was drawn, as far as its facts tell."""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy.orm import Session

from server.library_steps import CORRIDOR, Step, TaskDict, at_step, steps_of
from server.placing import for_hand
from server.store_tasks import guide_id_of, task_by_id

LEFT = "left"
# Widths are whole hundredths of a millimetre.
SAME_WIDTH_MM = 0.005


class StepsOfTasks:
    """Steps of tasks, each task worked out once."""

    def __init__(self, db: Session) -> None:
        self.db = db
        self.known: dict[tuple[str, int | None], tuple[list[Step], dict[str, Step]]] = {}

    def rungs(self, facts: Mapping[str, Any]) -> tuple[list[Step], dict[str, Step]]:
        """Return the steps of a trial's task, easiest first, and the step of each guide id."""
        key = (facts["task_id"], facts.get("task_revision"))
        if key not in self.known:
            task = task_by_id(self.db, *key)
            self.known[key] = ([], {}) if task is None else (steps_of(task), _guides(task))
        return self.known[key]

    def place(self, facts: Mapping[str, Any]) -> tuple[Any, ...]:
        """Return what trials of one step have in common: the step, else the guide."""
        step = step_of(*self.rungs(facts), facts)
        return (facts["mode"], facts["guide_id"]) if step is None else (facts["mode"], *step)


def _guides(task: TaskDict) -> dict[str, Step]:
    found = {}
    for step in steps_of(task):
        shown = at_step(task, step)
        for one in (shown, for_hand(shown, LEFT)):
            name = guide_id_of(one)
            if name is not None:
                found[name] = step
    # Rungs that show the same, such as bands of pressure, cannot be told from the guide.
    return found if len(set(found.values())) == len(steps_of(task)) else {}


def step_of(
    rungs: Sequence[Step], guides: Mapping[str, Step], facts: Mapping[str, Any]
) -> Step | None:
    """Return the step at which a trial was drawn, or None if it is not known.

    Parameters
    ----------
    rungs : sequence of Step
        Of its task.
    guides : mapping
        Step of each guide id.
    facts : mapping
        Of the trial: ``half_width_mm`` [mm] and ``guide_id``.

    Returns
    -------
    Step or None
        By the width of the corridor where that changes from step to step, else by the guide.
    """
    half_mm = facts["half_width_mm"]
    if rungs and rungs[0].dimension == CORRIDOR:
        near = (one for one in rungs if half_mm is not None)
        return next((s for s in near if abs(s.value - 2 * half_mm) < SAME_WIDTH_MM), None)
    return guides.get(facts["guide_id"] or "")
