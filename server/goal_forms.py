"""The form of a goal: what was typed, the body it stands for, and where it does not fit."""

from collections.abc import Iterator
from typing import Any, TypeVar

from pydantic import ValidationError

from analysis.registry import MEASURES
from server import goal_bodies
from server.faults import Fault
from server.goal_bodies import OPEN, GoalBody, NewGoalBody, VersionBody
from server.goal_typed import CONDITIONS, CUES, GoalForm, is_typed_in_percent
from server.problems import Problem
from server.tables import GoalRow
from server.validation import faults_of, names_of

WHOLE, NUMBER, NEEDED = (
    "This must be a whole number.",
    "This must be a number.",
    "This is needed.",
)
# Where a fault of the body stands in the form.
FIELDS = {
    "/id": "",
    "/based_on": "",
    "/criterion": "at_least",
    "/criterion/at_least": "at_least",
    "/criterion/at_most": "at_most",
    "/conditions/corridor_mm": "half_mm",
    "/help/cues_at_most/verbal": "verbal",
    "/help/cues_at_most/gesture": "gesture",
    "/help/cues_at_most/demonstration": "demonstration",
    "/help/physical_at_most": "physical",
    "/help/setup": "setup",
    "/baseline/k": "baseline_k",
    "/baseline/n": "baseline_n",
    "/baseline/day": "baseline_day",
    "/baseline/value": "baseline_value",
} | {f"/conditions/{name}": name for name in ("task_id", "hand", "direction", "position", "tool")}
# The same faults in the words of the form.
SAID = {
    goal_bodies.NO_BOUND: "Give at least, at most or both.",
    goal_bodies.CROSSED: "This must not be below the other bound.",
    goal_bodies.A_SHARE: "This must be a percentage from 0 to 100.",
    goal_bodies.MORE_THAN_ALL: "This must not be above the number of trials.",
    goal_bodies.NO_MEASURE: "Choose one of these measures.",
    goal_bodies.NO_WIDTH: "This measure means nothing without the width of the path: give it.",
    "This key is needed and is not there.": NEEDED,
    "This text must not be empty.": NEEDED,
    "This must be a word in lower case: letters, digits and _ only.": "Letters and digits only.",
}
BACKWARDS = {
    "at_least": "Less is better in this measure: give the bound as “at most”.",
    "at_most": "More is better in this measure: give the bound as “at least”.",
}
# What was sent in the place of a choice, whatever the choices are.
NO_CHOICE, CHOOSE = "This must be '", "Choose one of these."
NOWHERE = ""
Model = TypeVar("Model", bound=GoalBody)


def body_of(form: GoalForm) -> NewGoalBody:
    """Return the body that a form stands for, as the JSON door takes it.

    Parameters
    ----------
    form : GoalForm
        What was typed.

    Returns
    -------
    NewGoalBody
        A goal that is to be set.

    Raises
    ------
    Problem
        422 with a fault for each field that does not fit; paths are those of the body.
    """
    reader = _Reader()
    return _body(NewGoalBody, _tree(form, reader) | {"id": form.id.strip() or None}, reader)


def version_of(form: GoalForm) -> VersionBody:
    """Return the next version of a goal that a form stands for; as `body_of`."""
    reader = _Reader()
    tree = _tree(form, reader) | {"based_on": reader.whole("/based_on", form.based_on)}
    return _body(VersionBody, tree, reader)


def _body(model: type[Model], tree: dict[str, Any], reader: "_Reader") -> Model:
    try:
        body, found = model.model_validate(tree), []
    except ValidationError as error:
        body, found = None, faults_of(error, names_of(model))
    told = {fault.path for fault in reader.faults}
    faults = [*reader.faults, *(fault for fault in found if fault.path not in told)]
    if faults or body is None:
        raise Problem(422, errors=faults)
    return body


def ended_body(goal: GoalRow, status: str, based_on: str) -> VersionBody:
    """Return the body of a goal that is as it was, but for its status.

    Parameters
    ----------
    goal : GoalRow
        Its newest version.
    status, based_on : str
        As they were chosen: what it is to be, and the version that was looked at.

    Returns
    -------
    VersionBody
        Nothing of it went through text, so that no number moves.

    Raises
    ------
    Problem
        422 for a status that there is not.
    """
    reader = _Reader()
    names = ("measure", "criterion", "k", "n", "days", "conditions", "help", "purpose", "baseline")
    tree = {name: getattr(goal, name) for name in names} | {
        "due": None if goal.due is None else goal.due.isoformat(),
        "status": status,
        "based_on": reader.whole("/based_on", based_on),
    }
    try:
        return VersionBody.model_validate(tree)
    except ValidationError as error:
        raise Problem(422, errors=faults_of(error, names_of(VersionBody))) from None


class _Reader:
    """Reads numbers from text; remembers where there was none."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []

    def whole(self, path: str, text: str) -> int | None:
        """Return a whole number [1], or None with a fault."""
        try:
            return int(_plain(text))
        except ValueError:
            self.faults.append(Fault(path, WHOLE if text.strip() else NEEDED))
            return None

    def number(self, path: str, text: str, factor: float = 1.0) -> float | None:
        """Return a number times a factor; None if there is none, with a fault if it is not one."""
        if not text.strip():
            return None
        try:
            # Some keyboards have a comma only.
            # Rounded, so that 57 percent are 0.57 and no bound is missed by arithmetic.
            return round(factor * float(_plain(text).replace(",", ".")), 12)
        except ValueError:
            self.faults.append(Fault(path, NUMBER))
            return None


def _plain(text: str) -> str:
    """Return what was typed as a number without the spaces beside it."""
    if "_" in text:
        # Python's own way to group digits is nobody's way to type a number.
        raise ValueError("no number has this sign")
    return text.strip()


def _tree(form: GoalForm, reader: _Reader) -> dict[str, Any]:
    factor = 0.01 if is_typed_in_percent(form.measure) else 1.0
    words = {name: getattr(form, name).strip() for name in CONDITIONS}
    words["position"] = words["position"].lower().replace(" ", "_")
    conditions: dict[str, Any] = {name: text for name, text in words.items() if text}
    width_mm = reader.number("/conditions/corridor_mm", form.half_mm, 2.0)
    if width_mm is not None:
        conditions["corridor_mm"] = width_mm
    criterion = {
        name: reader.number(f"/criterion/{name}", getattr(form, name), factor)
        for name in ("at_least", "at_most")
    }
    if form.measure not in {entry.id for entry in MEASURES}:
        reader.faults.append(Fault("/measure", goal_bodies.NO_MEASURE))
    reader.faults += _backwards(form.measure, criterion)
    cues = {
        name: reader.whole(f"/help/cues_at_most/{name}", getattr(form, name) or "0")
        for name in CUES
    }
    tree: dict[str, Any] = {
        "measure": form.measure,
        "criterion": criterion,
        "conditions": conditions,
        "help": {
            "setup": bool(form.setup),
            "cues_at_most": cues,
            "physical_at_most": form.physical or "none",
        },
        "purpose": form.purpose.replace("\r\n", "\n").strip(),
        "due": form.due.strip() or None,
        "baseline": _baseline(form, reader, factor),
        "status": form.status or OPEN,
    }
    return tree | {
        name: reader.whole(f"/{name}", getattr(form, name)) for name in ("k", "n", "days")
    }


def _backwards(measure_id: str, criterion: dict[str, float | None]) -> Iterator[Fault]:
    """Yield what speaks against a criterion that asks for the worse side alone."""
    entry = next((one for one in MEASURES if one.id == measure_id), None)
    worse = {"low": "at_least", "high": "at_most"}.get("" if entry is None else entry.better)
    given = [name for name, bound in criterion.items() if bound is not None]
    if worse is not None and given == [worse]:
        yield Fault(f"/criterion/{worse}", BACKWARDS[worse])


def _baseline(form: GoalForm, reader: _Reader, factor: float) -> dict[str, Any] | None:
    typed = (form.baseline_k, form.baseline_n, form.baseline_day, form.baseline_value)
    if not any(text.strip() for text in typed):
        return None
    known: dict[str, Any] = {
        "k": reader.whole("/baseline/k", form.baseline_k),
        "n": reader.whole("/baseline/n", form.baseline_n),
        "day": form.baseline_day.strip(),
        "value": reader.number("/baseline/value", form.baseline_value, factor),
    }
    if not known["day"]:
        reader.faults.append(Fault("/baseline/day", NEEDED))
    return known


def troubles_of(problem: Problem) -> dict[str, str]:
    """Return the sentence for each field of the form at which a problem lies.

    What lies at no field of its own stands under the empty name.
    """
    found: dict[str, str] = {}
    for fault in problem.errors:
        name = FIELDS.get(fault.path, fault.path.removeprefix("/"))
        place = name if name in GoalForm.model_fields else NOWHERE
        said = CHOOSE if fault.detail.startswith(NO_CHOICE) else fault.detail
        found.setdefault(place, SAID.get(said, said))
    return found
