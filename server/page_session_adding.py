"""The form that adds to a plan: which task, at which step, for which hands and directions."""

from collections.abc import Mapping
from typing import Any, NamedTuple
from uuid import UUID

from sqlalchemy.orm import Session

from server.block_order import LARGEST_SEED
from server.form_ids import form_id_of
from server.library import LIBRARY
from server.library_fit import LARGE_SCREEN, PAPER, TABLET
from server.library_steps import Step, TaskDict, steps_of, usual_step
from server.page_session_plan import MODE_WORDS
from server.sentences import DIRECTION_WORDS, HAND_WORDS
from server.sentences_steps import step_words
from server.store_tasks import own_tasks, task_by_id
from server.tables import Child, SessionRow, random_id
from server.task_asking import directions_of, hands_of
from server.tools import tools_of
from server.wording import capital

USUAL_REPETITIONS = 3
POSITIONS = ("seated", "standing", "kneeling", "lying")
MEDIUM_WORDS = {PAPER: "On paper", LARGE_SCREEN: "On a large screen"}
OWN = "The practice's own"


class Choice(NamedTuple):
    """One choice of a list, and whether it is chosen."""

    value: str
    word: str
    here: bool


class ChoiceGroup(NamedTuple):
    """Choices under one heading."""

    name: str
    choices: list[Choice]


def adding(
    db: Session,
    child: Child,
    session: SessionRow,
    task_id: str | None,
    typed: Mapping[str, Any] | None,
    form_id: str | None = None,
) -> dict[str, Any]:
    """Return what the form that adds to a plan needs.

    Parameters
    ----------
    db : Session
        Database session.
    child : Child
        Whose plan.
    session : SessionRow
        Of which session.
    task_id : str or None
        The task that was chosen; the form asks for one first.
    typed : mapping or None
        What was typed in a form that was refused.
    form_id : str or None
        Of the form, from the address of the page: whoever goes back to it finds the same.

    Returns
    -------
    dict
        `groups` of tasks; `task`, None as long as none is chosen, with its choices; `fresh_id`
        of the form that comes next.
    """
    task = None if task_id is None else task_by_id(db, task_id)
    chosen = None if task is None else task["task_id"]
    return {
        "groups": _groups(db, chosen),
        "task": None if task is None else _choices(task, child, session, typed, form_id),
        "fresh_id": random_id(),
    }


def step_value(step: Step) -> str:
    """Return a step as the form sends it."""
    return f"{step.dimension}:{step.value!r}"


def _groups(db: Session, chosen: str | None) -> list[ChoiceGroup]:
    groups: dict[str, list[Choice]] = {}
    tasks = [(_group(task), task) for task in LIBRARY]
    tasks += [(OWN, row.document) for row in own_tasks(db)]
    for name, task in tasks:
        groups.setdefault(name, []).append(
            Choice(task["task_id"], _task_word(task), task["task_id"] == chosen)
        )
    return [ChoiceGroup(name, choices) for name, choices in groups.items()]


def _group(task: TaskDict) -> str:
    return MEDIUM_WORDS.get(task.get("medium") or "") or capital(MODE_WORDS[task["mode"]])


def _task_word(task: TaskDict) -> str:
    return f"{task['name']} (probe)" if task["use"] == "probe" else str(task["name"])


def _usual(task: TaskDict, child: Child, session: SessionRow, form_id: str) -> dict[str, Any]:
    """Return what the fields stand at before anything is chosen."""
    hands = hands_of(task)
    # The child's own hand is what is asked most often; nothing is assumed where it is not known.
    own = [child.preferred_hand] if child.preferred_hand in hands else []
    is_usual = task["mode"] == "cut" or task.get("medium") in (None, TABLET, LARGE_SCREEN)
    return {
        "id": form_id,
        "step": step_value(usual_step(task)),
        "hands": hands if len(hands) == 1 else own,
        "directions": directions_of(task)[:1],
        "repetitions": str(USUAL_REPETITIONS),
        "position": session.position if session.position in POSITIONS else "",
        "tool": tools_of(task)[0] if is_usual else "",
        # By chance as the id is, and the same as long as that is.
        "seed": str(1 + UUID(form_id).int % LARGEST_SEED),
        "pressure_median": "",
    }


def _choices(
    task: TaskDict,
    child: Child,
    session: SessionRow,
    typed: Mapping[str, Any] | None,
    form_id: str | None,
) -> dict[str, Any]:
    hands, ways = hands_of(task), directions_of(task)
    at = _usual(task, child, session, form_id_of(form_id)) | dict(typed or {})
    return {
        "id": task["task_id"],
        "form_id": form_id_of(at["id"]),
        "name": _task_word(task),
        "mode": MODE_WORDS[task["mode"]],
        "cautions": list(task.get("cautions") or ()),
        "steps": [
            Choice(step_value(step), step_words(step), step_value(step) == at["step"])
            for step in steps_of(task)
        ],
        "hands": [Choice(hand, capital(HAND_WORDS[hand]), hand in at["hands"]) for hand in hands],
        "directions": [
            Choice(way, capital(DIRECTION_WORDS.get(way, "no direction")), way in at["directions"])
            for way in ways
        ],
        "positions": _listed(POSITIONS, at["position"]),
        "tools": _listed(tools_of(task), at["tool"]),
        "repetitions": at["repetitions"],
        "seed": at["seed"],
        "wants_median": task.get("pressure_half_band") is not None,
        "pressure_median": at["pressure_median"],
    }


def _listed(words: tuple[str, ...], chosen: str) -> list[Choice]:
    return [
        Choice("", "not said", not chosen),
        *(Choice(word, word, word == chosen) for word in words),
    ]
