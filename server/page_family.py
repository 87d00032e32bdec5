"""The page for a family: its words as a form. Nothing of it is stored."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from server.dates import weekday_words
from server.deps import SeenSession
from server.family_draft import YOUR_CHILD, FamilyDraft, caution_words, family_draft
from server.family_refusals import MOST_LETTERS, name_for_family
from server.note_numbers import numbers_of
from server.sentences import DIRECTION_WORDS, HAND_WORDS
from server.tables import Child
from server.wording import capital

# More is no text for a page: the form is not even shown again.
MOST_SENT = 20_000
# What is spoilt may be the scribble of another child.
SHOWN = (None, "finished", "stopped")


class FieldWords(NamedTuple):
    """One text area: its name and label, and what is said where a draft has nothing to say."""

    name: str
    label: str
    hint: str


FIELDS = (
    FieldWords("did", "What was done", "Nothing that was drawn or made has come in yet."),
    FieldWords("alone", "Without help", "Nothing was marked as done without help."),
    FieldWords("helped", "With help", "No reminder and no helping hand was noted."),
    FieldWords("breaks", "Breaks", "No quiet break was noted."),
)
HUMAN = (
    FieldWords("home", "At home", "Linnet never writes this: you know what suits this family."),
    FieldWords("later", "Next", "Linnet never writes this: what comes next is for you to say."),
)
NOTHING: Mapping[str, str] = {}
LEFT_OUT = "Left empty, it is not on the page."


@dataclass(frozen=True)
class FamilyTexts:
    """What stands in the form.

    Attributes
    ----------
    did, alone, helped, breaks, home, later : str
        The words, as changed.
    picture : bool
        Whether a line is to be on the page.
    line : str
        Id of the trial it is from.
    scissors : bool
        Whether the caution is asked for although nothing was cut.
    """

    did: str = ""
    alone: str = ""
    helped: str = ""
    breaks: str = ""
    home: str = ""
    later: str = ""
    picture: bool = False
    line: str = ""
    scissors: bool = False

    @property
    def by_field(self) -> dict[str, str]:
        """The texts in the order of the page, by the names of their fields."""
        return {field.name: getattr(self, field.name) for field in (*FIELDS, *HUMAN)}

    @property
    def words(self) -> list[str]:
        """The texts in the order of the page."""
        return list(self.by_field.values())


class Line(NamedTuple):
    """One drawn line that may be shown."""

    value: str
    word: str
    here: bool


def cleaned(texts: FamilyTexts) -> FamilyTexts:
    """Return what was typed with plain ends of lines and without what no page can show."""
    return replace(
        texts,
        did=_clean(texts.did),
        alone=_clean(texts.alone),
        helped=_clean(texts.helped),
        breaks=_clean(texts.breaks),
        home=_clean(texts.home),
        later=_clean(texts.later),
    )


def _clean(text: str) -> str:
    plain = text.replace("\r\n", "\n").replace("\r", "\n")
    return "".join(letter for letter in plain if letter == "\n" or letter.isprintable()).strip()


def drafted(draft: FamilyDraft) -> FamilyTexts:
    """Return the form as it is when it is opened."""
    return FamilyTexts(draft.did, draft.alone, draft.helped, draft.breaks)


def family_form(
    db: Session,
    seen: SeenSession,
    typed: FamilyTexts | None = None,
    trouble: str | None = None,
    troubles: Mapping[str, str] = NOTHING,
) -> dict[str, Any]:
    """Return what the template of the form needs.

    Parameters
    ----------
    db : Session
        Database session.
    seen : SeenSession
        Which session.
    typed : FamilyTexts or None
        What was typed; None takes the draft.
    trouble : str or None
        Why it was refused.
    troubles : mapping
        What is wrong with single fields, by their names.

    Returns
    -------
    dict
        Plain words; no code and no date of birth.
    """
    numbers, child = numbers_of(db, seen.session), seen.child
    name = name_for_family(child)
    draft = family_draft(numbers, name)
    texts = typed or drafted(draft)
    return {
        "session_id": seen.session.id,
        "child_id": child.id,
        "child_name": capital(name or YOUR_CHILD),
        "title": title_of(child),
        "day": weekday_words(seen.session.day),
        "drafted": _areas(FIELDS, texts, drafted(draft)),
        "human": _areas(HUMAN, texts, FamilyTexts()),
        "left_out": LEFT_OUT,
        "most": MOST_LETTERS,
        "lines": _lines(numbers, texts.line),
        "picture": texts.picture,
        "cutting": draft.cutting,
        "scissors": texts.scissors,
        "caution": caution_words(name),
        "noted": _noted(numbers),
        "trouble": trouble,
        "troubles": troubles,
    }


def _areas(
    fields: tuple[FieldWords, ...], texts: FamilyTexts, first: FamilyTexts
) -> list[dict[str, Any]]:
    return [
        {
            "name": field.name,
            "label": field.label,
            "text": getattr(texts, field.name),
            "hint": "" if getattr(first, field.name) else field.hint,
        }
        for field in fields
    ]


def title_of(child: Child) -> str:
    """Return the first line of the page."""
    name = name_for_family(child)
    return f"For {name}'s family" if name else "For the family"


def drawn_lines(numbers: Mapping[str, Any]) -> dict[int, dict[str, Any]]:
    """Return the trials of a session that were drawn on a tablet and may be shown.

    They go by their place among all trials of the session, as on their own pages.
    """
    return {
        place: one
        for place, one in enumerate(numbers["trials"], start=1)
        if one["kind"] == "trial"
        and not one["voided"]
        and one["outcome"] in SHOWN
        and "nothing_drawn" not in one["flags"]
    }


def _lines(numbers: Mapping[str, Any], chosen: str) -> list[Line]:
    drawn = drawn_lines(numbers)
    here = chosen or next((one["trial_id"] for one in reversed(drawn.values())), "")
    return [
        Line(one["trial_id"], f"Trial {place}: {_line_words(one)}", one["trial_id"] == here)
        for place, one in drawn.items()
    ]


def _line_words(trial: Mapping[str, Any]) -> str:
    words = [
        trial["task_name"] or trial["mode"],
        HAND_WORDS.get(trial["hand_used"] or ""),
        DIRECTION_WORDS.get(trial["travelled"] or trial["condition"]["direction"] or ""),
        "with help" if trial["helped"] else "",
    ]
    return ", ".join(word for word in words if word)


def _noted(numbers: Mapping[str, Any]) -> list[str]:
    """Return what was noted in words of the practice, for a person to say or to leave."""
    return [
        one["text"].strip()
        for one in numbers["observations"]
        if one["kind"] in ("activity", "rest") and (one["text"] or "").strip()
    ]
