"""What is typed into the form of a goal, and a goal as its form shows it."""

from pydantic import BaseModel

from analysis.registry import MEASURES
from server.form_ids import form_id_of
from server.numbers import is_share, trimmed
from server.tables import GoalRow

ENDS = ("met", "continued", "changed", "stopped", "open")
CUES = ("verbal", "gesture", "demonstration")
CONDITIONS = ("task_id", "guide_id", "hand", "direction", "position", "tool")


class GoalForm(BaseModel):
    """Everything as it was typed, however long; shares in percent, the path as mm each side."""

    id: str = ""
    based_on: str = ""
    purpose: str = ""
    due: str = ""
    task_id: str = ""
    guide_id: str = ""
    measure: str = ""
    at_least: str = ""
    at_most: str = ""
    half_mm: str = ""
    hand: str = ""
    direction: str = ""
    position: str = ""
    tool: str = ""
    setup: str = ""
    verbal: str = ""
    gesture: str = ""
    demonstration: str = ""
    physical: str = ""
    k: str = ""
    n: str = ""
    days: str = ""
    baseline_k: str = ""
    baseline_n: str = ""
    baseline_day: str = ""
    baseline_value: str = ""
    status: str = ""


def fresh(form_id: str | None = None) -> GoalForm:
    """Return the form of a goal that is to be set: the usual of TRADE, to be changed.

    `form_id` is from the address of its page: whoever goes back to it finds the same.
    """
    return GoalForm(
        id=form_id_of(form_id),
        measure="in_corridor_share",
        at_least="80",
        k="4",
        n="5",
        days="2",
        setup="on",
        physical="none",
    )


def typed_of(goal: GoalRow) -> GoalForm:
    """Return a goal as its form shows it."""
    factor = 100.0 if is_typed_in_percent(goal.measure) else 1.0
    asked, conditions, allowed = goal.criterion, goal.conditions, goal.help
    cues, known = allowed.get("cues_at_most") or {}, goal.baseline or {}
    return GoalForm(
        based_on=str(goal.version),
        purpose=goal.purpose,
        due="" if goal.due is None else goal.due.isoformat(),
        measure=goal.measure,
        at_least=_number_text(asked.get("at_least"), factor),
        at_most=_number_text(asked.get("at_most"), factor),
        half_mm=_number_text(conditions.get("corridor_mm"), 0.5),
        setup="on" if allowed.get("setup", True) else "",
        physical=allowed.get("physical_at_most", "none"),
        k=str(goal.k),
        n=str(goal.n),
        days=str(goal.days),
        baseline_k=str(known.get("k", "")),
        baseline_n=str(known.get("n", "")),
        baseline_day=known.get("day", ""),
        baseline_value=_number_text(known.get("value"), factor),
        status=goal.status,
        **{name: str(cues.get(name, 0) or "") for name in CUES},
        **{name: conditions.get(name, "") for name in CONDITIONS},
    )


def _number_text(value: float | None, factor: float) -> str:
    # A browser's number field takes a plain minus only.
    return "" if value is None else trimmed(factor * value, 6).replace("\N{MINUS SIGN}", "-")


def is_typed_in_percent(measure_id: str) -> bool:
    """Return whether the values of a measure are parts of a whole, which people write in %."""
    entry = next((one for one in MEASURES if one.id == measure_id), None)
    return entry is not None and is_share(entry)
