"""What on a session's page does not go together, and what was typed too late to be stored."""

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from server.attendance import contradiction
from server.note_numbers import minutes_of
from server.numbers import minutes_words
from server.page_session_refused import Refused
from server.page_session_seen import EMPTY, HELP_CHOICES, TICK_WORDS
from server.store_observations import observations_of
from server.tables import SessionRow
from server.wording import capital

LABELS = {"started": "Began", "ended": "Ended", "kind": "Which", "ticks": "Seen", "text": "Words"}
HELP_WORDS = {value: word for value, word, _ in HELP_CHOICES}
LONG = "{what} of {long} is noted, and the session lasted {whole}. Look at both."


def doubts_of(db: Session, session: SessionRow) -> list[str]:
    """Return a sentence for each thing that does not go together in a session.

    Parameters
    ----------
    db : Session
        Database session.
    session : SessionRow
        Which session.

    Returns
    -------
    list of str
        Nobody came though something is in; an activity or a rest longer than the session.
    """
    found = contradiction(db, session)
    return [*([] if found is None else [found]), *_too_long(db, session)]


def _too_long(db: Session, session: SessionRow) -> list[str]:
    whole = minutes_of(session)
    if whole is None:
        return []
    long = [
        one
        for one in observations_of(db, session.id)
        if one.minutes is not None and one.minutes > whole
    ]
    names = {"activity": "An activity", "rest": "A rest"}
    return [
        LONG.format(
            what=names[one.kind],
            long=minutes_words(one.minutes or 0.0),
            whole=minutes_words(whole),
        )
        for one in long
    ]


def unsaved_of(refused: Refused, stored: Mapping[str, str]) -> list[tuple[str, str]]:
    """Return what was typed in a form of a session whose note is signed, by its label.

    Parameters
    ----------
    refused : Refused
        The form that was refused.
    stored : mapping
        The facts of the session as they stand, by field.

    Returns
    -------
    list of tuple of str
        Nothing of a form of the head, the plan or a trial, and nothing that stands as it is.
    """
    known: Mapping[str, Any] = {"facts": stored, **EMPTY}.get(refused.form, {})
    return [
        (LABELS.get(name, capital(name)), _words(name, value))
        for name, value in refused.typed.items()
        if name in known and value and (value != known[name] or refused.form == "words")
    ]


def _words(name: str, value: Any) -> str:
    if name == "ticks":
        return ", ".join(TICK_WORDS.get(one, str(one)) for one in value)
    if name == "help":
        return HELP_WORDS.get(value, str(value))
    return str(value).replace("_", " ") if name == "attendance" else str(value)
