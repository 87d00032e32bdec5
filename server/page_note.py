"""What the page of a session's note says, whatever state the note is in."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, NamedTuple

from server.dates import clock_words, day_words, weekday_words
from server.deps import SeenSession
from server.note_changes import changed_since
from server.note_changes_words import change_lines
from server.note_differences import section_changes
from server.note_draft import objective
from server.note_numbers import numbers_of
from server.page_note_numbers import cautions_of, noted_lines, number_words
from server.page_words import child_words
from server.settings import Settings
from server.store_accounts import account_by_id
from server.store_notes import (
    COSIGNED,
    DRAFT,
    RETURNED,
    SECTIONS,
    SIGNED,
    Desk,
    author_of,
    events_of,
    note_of,
    supervises,
)
from server.tables import Account, NoteEvent, NoteRow, random_id

PERSON = {
    "subjective": "What the child and others said. A person writes this part.",
    "objective": "What was seen and counted. Linnet drafts it from the numbers; correct it freely.",
    "assessment": "What you make of it. A person writes this part; while it is empty, the note "
    "cannot be signed.",
    "plan": "What comes next, and what is for home. A person writes this part.",
}
EVENT_WORDS = {
    "drafted": "written",
    SIGNED: "signed",
    RETURNED: "returned",
    COSIGNED: "co-signed",
    "addendum": "added to",
}
SAME_DRAFT = "A new draft says the same as the text that stands here."


@dataclass(frozen=True)
class Typed:
    """What came with a form that is shown again, and why it is.

    Attributes
    ----------
    texts : mapping or None
        The four sections as they were typed.
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


class Step(NamedTuple):
    """One line of the history."""

    when: str
    words: str
    text: str


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
    live = numbers_of(desk.db, desk.session)
    is_signed = note is not None and note.state in (SIGNED, COSIGNED)
    frozen = note.frozen if note is not None and is_signed else None
    numbers = live if frozen is None else frozen
    child = child_words(seen.child)
    events = [] if note is None else events_of(desk.db, desk.session.id)
    draft = objective(live, child.name, settings.local)
    changed = [] if frozen is None else change_lines(changed_since(frozen, live), frozen, live)
    return {
        "child": child,
        "session_id": desk.session.id,
        "day": weekday_words(desk.session.day),
        "state": _state(desk, note, events, settings),
        "is_signed": is_signed,
        "not_ended": desk.session.ended_at is None,
        "has_note": note is not None,
        "revision": 0 if note is None else note.revision,
        "may": _rights(desk, note),
        "sections": [_section(name, note, draft, typed, noted_lines(live)) for name in SECTIONS],
        "unsaved": _unsaved(typed, note) if is_signed or not _may_write(desk, note) else [],
        **number_words(numbers),
        "remarks": noted_lines(numbers)["remark"],
        "version": numbers["analysis_version"],
        "changed": changed,
        "signatures": _signatures(desk, note, settings),
        "revised": _revised(events),
        "addenda": [_step(desk, one, settings) for one in events if one.kind == "addendum"],
        "history": [_step(desk, one, settings) for one in events],
        "fresh_id": random_id(),
        "typed": typed,
        "troubles": typed.troubles,
        "cautions": cautions_of(numbers),
    }


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


def _name(desk: Desk, account_id: str | None) -> str:
    account: Account | None = None if account_id is None else account_by_id(desk.db, account_id)
    return "somebody" if account is None else account.name


def when_words(moment: datetime, settings: Settings) -> str:
    """Return day and time of a moment in the practice's time zone."""
    local = settings.local(moment)
    return f"{day_words(local.date())}, {clock_words(local)}"


def _state(
    desk: Desk, note: NoteRow | None, events: Sequence[NoteEvent], settings: Settings
) -> str:
    """Say in one or two sentences where the note stands."""
    if note is None:
        return "No note is stored for this session yet."
    author = author_of(desk, note)
    if note.state == DRAFT:
        return f"Draft of {author.name}, saved on {when_words(note.changed_at, settings)}."
    if note.state == RETURNED:
        back = next(one for one in reversed(events) if one.kind == RETURNED)
        return (
            f"Returned to {author.name} by {_name(desk, back.account_id)} on "
            f"{when_words(back.at, settings)}. Reason: {back.text}"
        )
    if note.state == COSIGNED:
        return "Signed and co-signed. It stays as it is; what is new goes into an addendum."
    if "supervisor" in author.roles:
        return "Signed. It stays as it is; what is new goes into an addendum."
    if author.supervisor_id is None:
        return "Signed. Nobody supervises its author, so nobody can co-sign it."
    return f"Signed. It waits for the co-signature of {_name(desk, author.supervisor_id)}."


def _signatures(desk: Desk, note: NoteRow | None, settings: Settings) -> list[tuple[str, str, str]]:
    """Return the lines under a signed note: what, who, when."""
    if note is None or note.state not in (SIGNED, COSIGNED) or note.signed_at is None:
        return []
    lines = [("Signed", _name(desk, note.signed_by), when_words(note.signed_at, settings))]
    if note.state == COSIGNED and note.cosigned_at is not None:
        when = when_words(note.cosigned_at, settings)
        lines.append(("Co-signed", _name(desk, note.cosigned_by), when))
    elif (above := author_of(desk, note)).supervisor_id and "supervisor" not in above.roles:
        lines.append(("Co-signed", "", f"waits for {_name(desk, above.supervisor_id)}"))
    return lines


def _revised(events: Sequence[NoteEvent]) -> dict[str, Any] | None:
    """Return the text that was signed last against the one that was signed before."""
    signed = [one.content for one in events if one.kind == SIGNED and one.content is not None]
    if len(signed) < 2:
        return None
    back = [one for one in events if one.kind == RETURNED]
    return {
        "sections": section_changes(signed[-2], signed[-1]),
        "reason": (back[-1].text or "") if back else "",
    }


def _step(desk: Desk, event: NoteEvent, settings: Settings) -> Step:
    words = f"{EVENT_WORDS[event.kind]} by {_name(desk, event.account_id)}"
    return Step(when_words(event.at, settings), words, event.text or "")
