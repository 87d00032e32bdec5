"""What adults said about a trial so far, and the forms in which they say more."""

from collections.abc import Collection, Iterator, Mapping
from typing import Any, NamedTuple
from uuid import uuid4

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.amending import Amended
from server.dates import clock_words, day_words
from server.deps import SeenTrial
from server.documents import TrialDocument
from server.mark_taps import tap_of
from server.numbers import trimmed
from server.sentences import HAND_WORDS
from server.sentences_marks import mark_sentence
from server.session_states import AFTER_SIGNING
from server.settings import Settings
from server.store_amendments import amendments_of
from server.store_marks import marks_of
from server.store_sessions import sessions_of
from server.store_today import is_signed, note_states
from server.store_trials import amended_document
from server.store_voids import voids_of
from server.tables import Account, AmendmentRow, MarkRow, SessionRow, VoidRow

MOST_SESSIONS = 20
POSITIONS = ("seated", "standing", "kneeling", "lying")
ONE_HANDS = ("left", "right", "both")
AMENDABLE = ("hand_used", "position", "midline", "midline_x_mm", "session_id", "reason")


class Said(NamedTuple):
    """Something that was noted: what, why, by whom and when."""

    text: str
    reason: str | None
    about: str


class Choice(NamedTuple):
    """One option of a form."""

    value: str
    word: str


def said_words(
    db: Session,
    seen: SeenTrial,
    settings: Settings,
    typed: Mapping[str, Mapping[str, str]],
    troubles: Mapping[str, Mapping[str, str]],
) -> dict[str, Any]:
    """Return what the template needs to show what was noted, and to ask for more.

    Parameters
    ----------
    db : Session
        Database session.
    seen : SeenTrial
        A trial that the reader may see.
    settings : Settings
        Say in which time zone.
    typed, troubles : mapping of str to mapping
        By form (`mark`, `amend`, `void`) what was typed into a form that was not taken, and
        a sentence for each field that was wrong.

    Returns
    -------
    dict
        Plain words and lists of them.
    """
    amended = amended_document(db, seen.trial)
    marks, amendments = marks_of(db, seen.trial.id), amendments_of(db, seen.trial.id)
    voids = voids_of(db, seen.trial.id)
    about = _About(db, settings, [*marks, *amendments, *voids])
    sessions = sessions_of(db, seen.child.id)
    days = {one.id: _session_words(one) for one in sessions}
    others = [one for one in sessions[::-1] if one.id != seen.session.id][:MOST_SESSIONS]
    notes = note_states(db, [seen.session.id, *(one.id for one in others)])
    signed = {session_id for session_id, state in notes.items() if is_signed(state)}
    voided = bool(voids) and voids[-1].voided
    fresh = {
        "mark": _mark_form(marks[-1] if marks else None),
        "amend": dict.fromkeys(AMENDABLE, "") | {"id": str(uuid4())},
        "void": {"id": str(uuid4()), "voided": "no" if voided else "yes", "reason": ""},
    }
    return {
        "marks": [Said(mark_sentence(one), None, about.of(one)) for one in marks],
        "corrections": [
            *(Said(_patch_words(one.patch, days), one.reason, about.of(one)) for one in amendments),
            *(Said(_void_words(one), one.reason, about.of(one)) for one in voids),
        ],
        "voided": voided,
        "after_signing": AFTER_SIGNING if seen.session.id in signed else "",
        "forms": {name: form | dict(typed.get(name, {})) for name, form in fresh.items()},
        "troubles": {name: dict(troubles.get(name, {})) for name in fresh},
        "hands": [Choice(hand, HAND_WORDS[hand]) for hand in ONE_HANDS],
        "positions": _positions(amended),
        "sessions": [
            Choice(one.id, f"{days[one.id]}{', note signed' if one.id in signed else ''}")
            for one in others
        ],
        "now_is": _now_is(amended),
    }


class _About:
    """Says who noted something and when."""

    def __init__(
        self, db: Session, settings: Settings, rows: Collection[MarkRow | AmendmentRow | VoidRow]
    ) -> None:
        ids = {row.account_id for row in rows}
        found = db.execute(select(Account.id, Account.name).where(Account.id.in_(ids)))
        self._names = dict(found.all())
        self._settings = settings

    def of(self, row: MarkRow | AmendmentRow | VoidRow) -> str:
        at = self._settings.local(row.at)
        name = self._names.get(row.account_id, "an account that is gone")
        return f"{name}, {day_words(at.date())}, {clock_words(at)}"


def _session_words(session: SessionRow) -> str:
    return f"{day_words(session.day)}{f', {session.place}' if session.place else ''}"


def _mark_form(mark: MarkRow | None) -> dict[str, str]:
    """Return the form as the newest mark says it: a new mark carries all that was said before."""
    noted: Mapping[str, Any] = {} if mark is None or mark.help is None else mark.help
    cues = noted.get("cues") or {}
    return {
        "id": str(uuid4()),
        "kind": tap_of(mark) or "",
        "why": (mark.why if mark is not None else None) or "",
        "hand_used": (mark.hand_used if mark is not None else None) or "",
        "setup": "yes" if noted.get("setup") or noted.get("set_up") else "",
        **{name: str(cues.get(name) or "") for name in ("verbal", "gesture", "demonstration")},
        "physical": noted.get("physical") or "",
        "hand_over_hand": "yes" if noted.get("hand_over_hand") else "",
    }


def _patch_words(patch: Mapping[str, Any], days: Mapping[str, str]) -> str:
    """Return in words what an amendment corrects."""
    return " ".join(f"{one}." for one in _patched(patch, days))


def _patched(patch: Mapping[str, Any], days: Mapping[str, str]) -> Iterator[str]:
    if "hand_used" in patch:
        yield f"Hand used: {HAND_WORDS[patch['hand_used']]}"
    for name in ("position", "tool"):
        if name in patch:
            yield f"{name.capitalize()}: {patch[name].replace('_', ' ')}"
    if "midline_x_mm" in patch:
        yield f"Midline: {_midline_words(patch['midline_x_mm'])}"
    if "session_id" in patch:
        yield f"Session: {days.get(patch['session_id'], 'another one')}"


def _midline_words(x_mm: float | None) -> str:
    if x_mm is None:
        return "not known"
    return f"{trimmed(x_mm, 1)} mm from the left edge of the task area"


def _void_words(void: VoidRow) -> str:
    return "Voided: kept and not counted." if void.voided else "Used again."


def _positions(amended: Amended[TrialDocument]) -> list[Choice]:
    now = amended.document.condition.position
    known = [*POSITIONS, *([now] if now and now not in POSITIONS else [])]
    return [Choice(one, one.replace("_", " ")) for one in known]


def _now_is(amended: Amended[TrialDocument]) -> dict[str, str]:
    """Return what the record says now, as corrected, to stand beside each field."""
    condition, guide = amended.document.condition, amended.document.guide
    hand = HAND_WORDS.get(amended.hand_used or "")
    asked = HAND_WORDS.get(condition.hand or "", "no hand")
    return {
        "hand_used": hand or f"asked for: {asked}",
        "position": (condition.position or "not said").replace("_", " "),
        "midline": _midline_words(guide.midline_x_mm),
    }
