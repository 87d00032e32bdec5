"""How far a note has come: its state, its signatures and its history, in words."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, NamedTuple

from server.dates import clock_words, day_words
from server.note_differences import section_changes
from server.settings import Settings
from server.store_accounts import account_by_id
from server.store_notes import COSIGNED, DRAFT, RETURNED, SIGNED, Desk, author_of
from server.tables import Account, NoteEvent, NoteRow

EVENT_WORDS = {
    "drafted": "written",
    SIGNED: "signed",
    RETURNED: "returned",
    COSIGNED: "co-signed",
    "addendum": "added to",
}


class Step(NamedTuple):
    """One line of the history."""

    when: str
    words: str
    text: str


def _name(desk: Desk, account_id: str | None) -> str:
    account: Account | None = None if account_id is None else account_by_id(desk.db, account_id)
    return "somebody" if account is None else account.name


def when_words(moment: datetime, settings: Settings) -> str:
    """Return day and time of a moment in the practice's time zone."""
    local = settings.local(moment)
    return f"{day_words(local.date())}, {clock_words(local)}"


def state_words(
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


def signature_lines(
    desk: Desk, note: NoteRow | None, settings: Settings
) -> list[tuple[str, str, str]]:
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


def revised(events: Sequence[NoteEvent]) -> dict[str, Any] | None:
    """Return the text that was signed last against the one that was signed before."""
    signed = [one.content for one in events if one.kind == SIGNED and one.content is not None]
    if len(signed) < 2:
        return None
    back = [one for one in events if one.kind == RETURNED]
    return {
        "sections": section_changes(signed[-2], signed[-1]),
        "reason": (back[-1].text or "") if back else "",
    }


def step_of(desk: Desk, event: NoteEvent, settings: Settings) -> Step:
    """Return one step of a note as a line."""
    words = f"{EVENT_WORDS[event.kind]} by {_name(desk, event.account_id)}"
    return Step(when_words(event.at, settings), words, event.text or "")
