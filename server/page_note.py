"""What the page of a session's note says, whatever state the note is in."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from server.attendance import contradiction
from server.dates import weekday_words
from server.deps import SeenSession
from server.note_changes import changed_since
from server.note_changes_words import change_lines
from server.note_draft import objective
from server.note_facts import goal_changes, goal_lines, session_facts
from server.note_goals import note_numbers_of
from server.note_spread import spread_clauses
from server.note_times import FIELDS, missing_times, suggested_times
from server.page_note_numbers import cautions_of, count_changes, noted_lines, number_words
from server.page_note_steps import revised, signature_lines, state_words, step_of
from server.page_words import child_words
from server.settings import Settings
from server.store_notes import (
    COSIGNED,
    DRAFT,
    SECTIONS,
    SIGNED,
    Desk,
    author_of,
    events_of,
    note_of,
    supervises,
)
from server.tables import NoteRow, random_id

Numbers = dict[str, Any]

PERSON = {
    "subjective": "What the child and others said. A person writes this part.",
    "objective": "What was seen and counted. Linnet drafts it from the numbers; correct it freely.",
    "assessment": "What you make of it. A person writes this part; while it is empty, the note "
    "cannot be signed.",
    "plan": "What comes next, and what is for home. A person writes this part.",
}
TIME_WORDS = {"started_at": "Session began", "ended_at": "Session ended"}
SAME_DRAFT = "A new draft says the same as the text that stands here."


@dataclass(frozen=True)
class Typed:
    """What came with a form that is shown again, and why it is.

    Attributes
    ----------
    texts : mapping or None
        The four sections as they were typed.
    times : mapping
        When the session began and ended, as typed, by field.
    troubles : mapping
        Sentences by the place they belong to, such as ``/assessment``; "" is the whole form.
    draft_beside : bool
        Whether a new draft was asked for, to stand beside the text.
    clashes : bool
        Whether the note was changed in the meantime, so that both texts are shown.
    reason, addendum : str
        What was typed elsewhere on the page.
    """

    texts: Mapping[str, str] | None = None
    times: Mapping[str, str] = field(default_factory=dict)
    troubles: Mapping[str, str] = field(default_factory=dict)
    draft_beside: bool = False
    clashes: bool = False
    reason: str = ""
    addendum: str = ""


class Section(NamedTuple):
    """One of the four parts of a note.

    Attributes
    ----------
    name, title, about : str
        What it is called, and who writes it.
    kept, text : str
        As it is stored, and as it stands in the form.
    drafted : bool
        Whether `text` is a draft that nobody stored.
    stored, draft : str or None
        What stands beside the text where it differs: from what is stored, or a new draft.
    said : list of str
        What was said in the session, for the part that holds it.
    """

    name: str
    title: str
    about: str
    kept: str
    text: str
    drafted: bool
    stored: str | None
    draft: str | None
    said: list[str]


class Time(NamedTuple):
    """A time that signing asks for: its field, its label, and what stands in it."""

    name: str
    label: str
    value: str


def note_page(desk: Desk, seen: SeenSession, settings: Settings, typed: Typed) -> dict[str, Any]:
    """Return what the template of a note needs, and what its text and its PDF are made of.

    Parameters
    ----------
    desk : Desk
        Who looks, at which session, when.
    seen : SeenSession
        The session and its child.
    settings : Settings
        Say the practice's time zone.
    typed : Typed
        What came with a form that is shown again.

    Returns
    -------
    dict
        Plain words and lists of them.
    """
    note = note_of(desk.db, desk.session.id)
    live = note_numbers_of(desk.db, desk.session, settings)
    is_signed = note is not None and note.state in (SIGNED, COSIGNED)
    frozen = note.frozen if note is not None and is_signed else None
    numbers = live if frozen is None else frozen
    child = child_words(seen.child)
    rights = _rights(desk, note)
    events = [] if note is None else events_of(desk.db, desk.session.id)
    draft = "" if is_signed else _draft(desk, live, child.name, settings)
    return {
        "child": child,
        "session_id": desk.session.id,
        "day": weekday_words(desk.session.day),
        "state": state_words(desk, note, events, settings),
        "is_signed": is_signed,
        "facts": session_facts(numbers, settings.local),
        "goals": goal_lines(numbers),
        "times": _times(desk, settings, typed) if rights["sign"] else [],
        "has_note": note is not None,
        "revision": 0 if note is None else note.revision,
        "may": rights,
        "sections": [_section(name, note, draft, typed, noted_lines(live)) for name in SECTIONS],
        "unsaved": _unsaved(typed, note) if is_signed or not _may_write(desk, note) else [],
        **number_words(numbers),
        "remarks": noted_lines(numbers)["remark"],
        "version": numbers["analysis_version"],
        "changed": [] if frozen is None else _changed(frozen, live, settings),
        "signatures": signature_lines(desk, note, settings),
        "revised": revised(events),
        "addenda": [step_of(desk, one, settings) for one in events if one.kind == "addendum"],
        "history": [step_of(desk, one, settings) for one in events],
        "fresh_id": random_id(),
        "typed": typed,
        "troubles": typed.troubles,
        "cautions": cautions_of(numbers),
        "contradicts": None if is_signed else contradiction(desk.db, desk.session),
    }


def _draft(desk: Desk, live: Numbers, name: str, settings: Settings) -> str:
    spreads = spread_clauses(desk.db, desk.session, live)
    return objective(live, name, settings.local, spreads)


def _changed(frozen: Numbers, live: Numbers, settings: Settings) -> list[str]:
    """Return what is different since signing: what was said or came in, then the counts."""
    lines = change_lines(changed_since(frozen, live), frozen, live, settings.local)
    return [*lines, *count_changes(frozen, live), *goal_changes(frozen, live)]


def _times(desk: Desk, settings: Settings, typed: Typed) -> list[Time]:
    """Return the times that have to be given before signing, each with one to begin with."""
    missing = missing_times(desk.db, desk.session)
    if not missing:
        return []
    begin = suggested_times(desk, settings)
    return [
        Time(FIELDS[one], TIME_WORDS[one], typed.times.get(FIELDS[one]) or begin[FIELDS[one]])
        for one in missing
    ]


def _may_write(desk: Desk, note: NoteRow | None) -> bool:
    if note is None:
        return True
    author = author_of(desk, note)
    return author.id == desk.account.id or supervises(desk.account, author)


def _rights(desk: Desk, note: NoteRow | None) -> dict[str, bool]:
    """Return what the reader may do here; the steps themselves check it again."""
    writes = _may_write(desk, note)
    state = DRAFT if note is None else note.state
    is_signed = state in (SIGNED, COSIGNED)
    author = desk.account if note is None else author_of(desk, note)
    decides = supervises(desk.account, author) and "supervisor" not in author.roles
    return {
        "write": writes and not is_signed,
        "sign": author.id == desk.account.id and not is_signed,
        "decide": decides and state == SIGNED,
        "add": writes and is_signed,
        "closed": state == COSIGNED,
    }


def _section(
    name: str,
    note: NoteRow | None,
    draft: str,
    typed: Typed,
    noted: Mapping[str, list[str]],
) -> Section:
    kept = "" if note is None else str(getattr(note, SECTIONS[name]))
    is_signed = note is not None and note.state in (SIGNED, COSIGNED)
    text, drafted, beside = kept, False, None
    if typed.texts is not None and not is_signed:
        text = typed.texts[name]
    elif name == "objective" and not kept.strip() and not is_signed:
        text, drafted = draft, True
    if name == "objective" and typed.draft_beside:
        beside = draft if text.strip() != draft else SAME_DRAFT
    return Section(
        name=name,
        title=name.capitalize(),
        about=PERSON[name],
        kept=kept,
        text=text,
        drafted=drafted,
        stored=kept if typed.clashes and kept != text else None,
        draft=beside,
        said=noted["said"] if name == "subjective" else [],
    )


def _unsaved(typed: Typed, note: NoteRow | None) -> list[tuple[str, str]]:
    """Return what was typed where it cannot be stored any more, so that it is not lost."""
    if typed.texts is None or note is None:
        return []
    return [
        (name.capitalize(), text)
        for name, text in typed.texts.items()
        if text.strip() and text != getattr(note, SECTIONS[name])
    ]
