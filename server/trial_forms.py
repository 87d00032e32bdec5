"""What adults fill in about a trial, as forms send it, read into what the JSON doors take."""

import math
from collections.abc import Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from server.mark_taps import OUTCOMES, is_help
from server.routes_corrections import AmendmentBody, VoidBody
from server.routes_trials import MOST_CUES, MarkBody
from server.validation import sentence_of

WITH_REASON = frozenset({"spoilt", "stopped"})
CUES = ("verbal", "gesture", "demonstration")

NO_KIND = "Choose OK, helped, spoilt or stopped."
REASON_OF_OK = (
    "A reason belongs to spoilt or stopped. Choose one of these, or take the reason away."
)
HELP_WITH_OK = "Help is noted here. Choose helped above, or take the help away."
WHOLE_NUMBER = f"This must be a whole number from 0 to {MOST_CUES}."
A_NUMBER = "This must be a number of millimetres, such as 103.5."
WHICH_MIDLINE = "A number stands beside this. Choose that it is the place, or take it away."
EITHER_MIDLINE = (
    "A number stands beside this. Choose that it is the place, or take it away if the midline is "
    "not known."
)
NO_REASON = "Say why: the reason stays with the record."
TOO_LONG = "This is too long. Say it in {max_length} characters or fewer."
NOT_LISTED = "Choose what is listed here."
SENT_BEFORE = (
    "Other words were kept from this form before, and they were not changed. What you typed is "
    "kept here: send it once more, and it is added too."
)
NOT_WHOLE = "This form did not come in whole. Nothing of it was stored. Send it again."
NOTHING_CHOSEN = "Choose at least one thing to correct."

MOST_DIGITS = 20

Typed = Mapping[str, str]
Model = TypeVar("Model", bound=BaseModel)


# Any text is taken here: what does not fit is refused on the page, where it was typed.
class MarkDetails(BaseModel):
    """What every form of marks asks beside how it went."""

    why: str = ""
    hand_used: str = ""
    setup: str = ""
    verbal: str = ""
    gesture: str = ""
    demonstration: str = ""
    physical: str = ""
    hand_over_hand: str = ""


class MarkForm(MarkDetails):
    """What was chosen and typed in the form of marks."""

    id: str = ""
    kind: str = ""


class AmendmentForm(BaseModel):
    """What was chosen and typed in the form of corrections."""

    id: str = ""
    hand_used: str = ""
    position: str = ""
    midline: str = ""
    midline_x_mm: str = ""
    session_id: str = ""
    reason: str = ""


class VoidForm(BaseModel):
    """What was chosen and typed in the form of voids."""

    id: str = ""
    voided: str = ""
    reason: str = ""


class Untaken(Exception):
    """Raised when a form cannot be taken: a sentence for each field that is wrong, and a status."""

    def __init__(self, troubles: dict[str, str], status: int = 422) -> None:
        super().__init__(", ".join(troubles))
        self.troubles = troubles
        self.status = status


def mark_of(typed: Typed) -> MarkBody:
    """Return the mark that a form means.

    Parameters
    ----------
    typed : mapping
        With the fields of `MarkForm`; the forms on the pages of a trial and of a session
        mean the same.

    Returns
    -------
    MarkBody
        As the tablet's strip sends it: "OK" goes without help, a reason belongs to "spoilt"
        and "stopped".

    Raises
    ------
    Untaken
        With sentences by field.
    """
    kind, why = typed["kind"], typed["why"].strip()
    troubles: dict[str, str] = {}
    if kind not in OUTCOMES:
        raise Untaken({"kind": NO_KIND})
    if why and kind not in WITH_REASON:
        troubles["why"] = REASON_OF_OK
    noted = _help_of(typed, troubles)
    if kind == "ok" and is_help(noted):
        troubles["help"] = HELP_WITH_OK
    if troubles:
        raise Untaken(troubles)
    if kind == "helped":
        noted = {"given": True} | noted
    said = {"why": why, "hand_used": typed["hand_used"], "help": noted}
    tree = {"id": typed["id"], "outcome": OUTCOMES[kind]}
    return _checked(MarkBody, tree | {key: value for key, value in said.items() if value})


def _help_of(typed: Typed, troubles: dict[str, str]) -> dict[str, Any]:
    cues = {name: _count(typed[name], name, troubles) for name in CUES}
    noted: dict[str, Any] = {}
    if typed["setup"]:
        noted["setup"] = True
    if any(cues.values()):
        noted["cues"] = cues
    if typed["physical"]:
        noted["physical"] = typed["physical"]
    if typed["hand_over_hand"]:
        noted["hand_over_hand"] = True
    return noted


def _count(text: str, field: str, troubles: dict[str, str]) -> int:
    text = text.strip()
    # Other writings of digits are no numbers to everybody.
    if len(text) > MOST_DIGITS or (text and not (text.isascii() and text.isdecimal())):
        troubles[field] = WHOLE_NUMBER
        return 0
    return int(text or 0)


def amendment_of(typed: Typed) -> AmendmentBody:
    """Return the correction that a form means.

    Parameters
    ----------
    typed : mapping
        With the fields of `AmendmentForm`; what is left empty stays as it is.

    Returns
    -------
    AmendmentBody
        With at least one thing to correct.

    Raises
    ------
    Untaken
        With sentences by field.
    """
    patch: dict[str, Any] = {
        name: typed[name] for name in ("hand_used", "position", "session_id") if typed[name]
    }
    troubles = _without_reason(typed) | _midline_troubles(typed)
    if typed["midline"] == "unknown":
        patch["midline_x_mm"] = None
    elif typed["midline"] == "at":
        patch["midline_x_mm"] = _millimetres(typed["midline_x_mm"])
    if not patch and "midline" not in troubles:
        troubles["patch"] = NOTHING_CHOSEN
    if troubles:
        raise Untaken(troubles)
    return _checked(AmendmentBody, {"id": typed["id"], "patch": patch, "reason": _reason(typed)})


def _midline_troubles(typed: Typed) -> dict[str, str]:
    """Return what is wrong where a place was chosen and another one, or none, was typed."""
    chosen, number = typed["midline"], typed["midline_x_mm"].strip()
    if chosen not in ("", "at", "unknown"):
        return {"midline": NOT_LISTED}
    if number and chosen != "at":
        return {"midline": EITHER_MIDLINE if chosen else WHICH_MIDLINE}
    return {}


def _millimetres(text: str) -> float:
    try:
        x_mm = float(text.strip().replace(",", "."))
    except ValueError:
        x_mm = math.nan
    if not math.isfinite(x_mm):
        raise Untaken({"midline_x_mm": A_NUMBER})
    return x_mm


def void_of(typed: Typed) -> VoidBody:
    """Return the void that a form means: set aside, or used again.

    Raises
    ------
    Untaken
        With sentences by field.
    """
    troubles = _without_reason(typed)
    if typed["voided"] not in ("yes", "no"):
        troubles[""] = NOT_WHOLE
    if troubles:
        raise Untaken(troubles)
    voided = typed["voided"] == "yes"
    return _checked(VoidBody, {"id": typed["id"], "voided": voided, "reason": _reason(typed)})


def _reason(typed: Typed) -> str:
    return typed["reason"].replace("\r\n", "\n").strip()


def _without_reason(typed: Typed) -> dict[str, str]:
    return {} if _reason(typed) else {"reason": NO_REASON}


def _checked(model: type[Model], tree: Mapping[str, Any]) -> Model:
    """Return what the JSON door takes; its own rules are the only ones."""
    try:
        return model.model_validate(tree)
    except ValidationError as error:
        found = error.errors(include_url=False, include_input=False)
        raise Untaken({_field(one["loc"]): _sentence(one) for one in found}) from None


def _field(place: tuple[int | str, ...]) -> str:
    return str(place[-1]) if place else ""


def _sentence(error: Any) -> str:
    if error["type"] == "string_too_long":
        return TOO_LONG.format(**error["ctx"])
    return sentence_of(error)
