"""What the page of one session says: its head, its plan, its trials, what was seen."""

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from server.clock_times import whole_minutes
from server.dates import clock_words, weekday_words
from server.deps import SeenSession
from server.note_due import took_place
from server.note_numbers import minutes_of
from server.numbers import minutes_words
from server.page_session_adding import Choice, adding
from server.page_session_doubts import doubts_of, unsaved_of
from server.page_session_live import live_words, seen_trials
from server.page_session_plan import came_in_words, plan_items
from server.page_session_refused import NOTHING_REFUSED, Refused
from server.page_session_seen import observed
from server.page_words import child_words
from server.sentences import NO_NORM
from server.session_states import AFTER_SIGNING, BEGUN, NOTE_WORDS, OVER, standing
from server.settings import Settings
from server.store_counts import trial_counts_by_item
from server.store_plans import items_of_last_session, latest_plan, version_of
from server.store_today import is_signed, note_states
from server.tables import SessionRow
from server.wording import ATTENDANCE_WORDS, capital, plural, sentence_of

CAME_WORDS = {"attended": "attended"} | ATTENDANCE_WORDS
KIND_WORDS = {"individual": "individual", "group": "in a group"}
SITTING = ("seated", "standing", "kneeling", "lying", "on the floor")


def session_page(
    db: Session,
    seen: SeenSession,
    settings: Settings,
    *,
    task_id: str | None = None,
    form_id: str | None = None,
    refused: Refused = NOTHING_REFUSED,
) -> dict[str, Any]:
    """Return what the template of a session needs.

    Parameters
    ----------
    db : Session
        Database session.
    seen : SeenSession
        A session that the reader may see.
    settings : Settings
        Say the practice's time zone.
    task_id : str or None
        The task that was chosen to be added.
    form_id : str or None
        Of the form that adds it, if the address of the page says one.
    refused : Refused
        The form that was sent and refused, if one was.

    Returns
    -------
    dict
        Plain words and lists of them.
    """
    session = seen.session
    trials = seen_trials(db, session)
    state = note_states(db, [session.id]).get(session.id)
    stands = standing(session, begun=took_place(db, session))
    return {
        "child": child_words(seen.child),
        "session_id": session.id,
        "head": _head(session, settings, state, refused.typed_in("facts"))
        | {"first": _first(session, settings, stands)},
        "plan": _plan(db, seen)
        | {"adding": adding(db, seen.child, session, task_id, refused.typed_in("add"), form_id)},
        "live": live_words(db, trials),
        "observed": observed(db, session, trials, settings, refused),
        "refused": refused,
        "doubts": doubts_of(db, session),
        "unsaved": unsaved_of(refused, facts_typed(session, settings)) if is_signed(state) else [],
        "cautions": [NO_NORM],
    }


def live_answer(db: Session, seen: SeenSession) -> dict[str, Any]:
    """Return what changes on the page while a child draws.

    Returns
    -------
    dict
        `live`, for the template of the list; `words`, new texts by the id of what shows them.
    """
    trials = seen_trials(db, seen.session)
    live = live_words(db, trials)
    plan = latest_plan(db, seen.session.id)
    done = _by_item(db, seen.session)
    items = [] if plan is None else plan["items"]
    words = {f"in-{one['item_id']}": came_in_words(done.get(one["item_id"], 0)) for one in items}
    return {"live": live, "words": words | {"came-in": live["came_in"]}}


def _head(
    session: SessionRow, settings: Settings, note_state: str | None, typed: Mapping[str, Any]
) -> dict[str, Any]:
    at = facts_typed(session, settings) | dict(typed)
    return {
        "day": weekday_words(session.day),
        "where": ", ".join(
            word
            for word in (session.place, session.position, KIND_WORDS.get(session.kind or ""))
            if word
        ),
        "begun": session.started_at is not None,
        "ended": session.ended_at is not None,
        "closed": session.closed_at is not None,
        "signed": is_signed(note_state),
        "after_signing": AFTER_SIGNING if is_signed(note_state) else "",
        "note": capital(NOTE_WORDS.get(note_state or "", "write the note")),
        "typed": at,
        "positions": SITTING,
        "attendances": _choices(CAME_WORDS, at["attendance"]),
        "kinds": _choices(KIND_WORDS, at["kind"]),
    }


def facts_typed(session: SessionRow, settings: Settings) -> dict[str, str]:
    """Return the fields of the form on a session's facts as they stand."""

    def clock(moment: Any) -> str:
        return "" if moment is None else clock_words(settings.local(moment))

    return {
        "place": session.place or "",
        "position": session.position or "",
        "attendance": session.attendance or "",
        "kind": session.kind or "",
        "started": clock(session.started_at),
        "ended": clock(session.ended_at),
    }


def _choices(words: Mapping[str, str], chosen: str) -> list[Choice]:
    return [
        Choice("", "not said", not chosen),
        *(Choice(value, word, value == chosen) for value, word in words.items()),
    ]


def _by_item(db: Session, session: SessionRow) -> Mapping[str | None, int]:
    """Return how many trials of each item are in."""
    return trial_counts_by_item(db, [session.id]).get(session.id, {})


def _first(session: SessionRow, settings: Settings, stands: str) -> str:
    """Say in a sentence where the session stands."""
    words = [stands]
    if stands in (BEGUN, OVER) and session.started_at is not None:
        began = clock_words(settings.local(session.started_at))
        if session.ended_at is None:
            words = [f"{stands} at {began}"]
        else:
            minutes = minutes_words(whole_minutes(minutes_of(session) or 0.0))
            words += [f"{began}–{clock_words(settings.local(session.ended_at))}", minutes]
    elif stands == BEGUN:
        words.append("no time noted")
    came = CAME_WORDS.get(session.attendance or "")
    if came is not None and came != stands:
        words.append(came)
    return sentence_of(", ".join(words))


def _plan(db: Session, seen: SeenSession) -> dict[str, Any]:
    plan = latest_plan(db, seen.session.id)
    items = [] if plan is None else plan["items"]
    asked = sum(int(item["repetitions"]) for item in items if item["state"] == "open")
    still = sum(item["state"] == "open" for item in items)
    return {
        "version": version_of(plan),
        "rows": plan_items(db, items, _by_item(db, seen.session)),
        "has_last": not items and bool(items_of_last_session(db, seen.session)),
        "summary": (
            f"{still} open {plural('item', still)}, {asked} {plural('trial', asked)} asked in all."
            if still
            else "Every item is closed."
        ),
    }
