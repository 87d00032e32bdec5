"""Plans and day packs as documents, for their JSON schemas."""

from typing import Any, Literal

from pydantic import Field

from analysis.trial import Mode
from server.documents import ConditionFields, CriterionFields
from server.fields import Band, Code, Count, Fields, Label, Line, Moment, Number, Use
from server.guides import GuideFields

NEEDS = "What the tablet must report for the task to make sense."


class ItemTaskFields(Fields):
    """The task of an item, as the trial carries it back."""

    task_id: Code
    revision: Count
    mode: Mode
    name: Line
    use: Use
    criterion: CriterionFields | None = None
    pressure_band: Band | None = None
    needs: list[Label] | None = Field(default=None, description=NEEDS)


class ShowFields(Fields):
    """How the item is shown to the child."""

    guide: Literal["line", "corridor", "dots", "ends"] | None = None
    cue: bool | None = None
    feedback: Any = None
    quiet: bool | None = None
    idle_end_s: float | None = None


class ItemFields(Fields):
    """One task of a plan, asked a number of times."""

    item_id: Code
    state: Label
    repetitions: Count
    task: ItemTaskFields
    guide: GuideFields
    condition: ConditionFields
    show: ShowFields | None = None


class PlanHead(Fields):
    """What a plan says beside its items."""

    format: Literal["linnet-plan/1"] = "linnet-plan/1"
    plan_id: Code
    version: Count
    session_label: Any = Field(description="Two picture signs, never a name or a code.")
    server_time: Moment | None = None
    expires_at: Moment | None = None
    limits: dict[str, Any] | None = None


class PlanDocument(PlanHead):
    """What one child is to be asked in one session; no name and no code."""

    items: list[ItemFields]


class StepFields(Fields):
    """One rung of a task's ladder."""

    dimension: Label
    value: Number


class GradedFields(Fields):
    """An item at another rung: everything that differs from the item's own."""

    step: StepFields
    task: ItemTaskFields
    guide: GuideFields


class StepsFields(Fields):
    """The next rungs of an item, where there are any that fit."""

    easier: GradedFields | None = None
    harder: GradedFields | None = None


class DayItemFields(ItemFields):
    """An item as a tablet gets it."""

    steps: StepsFields | None = Field(
        default=None, description="For an adult to step to; practice of a ladder only."
    )


class DayPlanDocument(PlanHead):
    """A plan as a tablet gets it."""

    items: list[DayItemFields]


class DayDocument(Fields):
    """All of a tablet's plans for one day."""

    format: Literal["linnet-day/1"]
    tablet_id: Code
    day: str = Field(pattern=r"^\d{4}-\d{2}-\d{2}$")
    expires_at: Moment
    plans: list[DayPlanDocument]
