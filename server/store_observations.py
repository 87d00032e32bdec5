"""Observations: what the adult saw in a session. Fixed once the session's note is signed."""

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import delete, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session
from sqlalchemy.orm.exc import StaleDataError

from server.faults import Fault
from server.problems import Problem
from server.store_trials import refuse_erased
from server.tables import NoteRow, ObservationRow, TrialRow

SIGNED = (
    "The note of this session is signed, so what was observed stays as it is. Write an addendum "
    "to the note instead."
)
OTHER_OBSERVATION = "Another observation is already stored under this id. It was not changed."
OTHER_SESSION = "This must be a trial of this session."
NEEDS_TEXT = "This kind of observation needs words."
NO_MINUTES = "Only a rest and an activity have minutes."
NO_HELP = "Only an activity has help here; that of a trial belongs to its mark."


class Kind(NamedTuple):
    """What an observation of one kind may say.

    Attributes
    ----------
    needs_text : bool
        Whether words are needed; they are welcome with every kind.
    has_minutes, has_help : bool
        Whether it lasts, and whether help can be given in it.
    """

    needs_text: bool = False
    has_minutes: bool = False
    has_help: bool = False


TICK, WORDS = Kind(), Kind(needs_text=True)
KINDS: Mapping[str, Kind] = {
    "helper_hand_holds": TICK,
    "helper_hand_turns": TICK,
    "thumb_up": TICK,
    "elbow_off_table": TICK,
    "trunk_still": TICK,
    "turned_instead_of_crossing": TICK,
    "swapped_hands": TICK,
    "grip_whole_hand": TICK,
    "grip_fingers_pronated": TICK,
    "grip_static_tripod": TICK,
    "grip_dynamic_tripod": TICK,
    "grip_other": TICK,
    "distress": TICK,
    # The words say why.
    "rest": Kind(has_minutes=True),
    # The words say which activity it was, and on further lines what is to be remarked.
    "activity": Kind(needs_text=True, has_minutes=True, has_help=True),
    # The words say who said what, for the first section of the note.
    "said": WORDS,
    "remark": WORDS,
}

COLUMNS = ("trial_id", "kind", "text", "minutes", "help")


def observation_by_id(db: Session, observation_id: str) -> ObservationRow | None:
    """Return an observation, or None."""
    return db.scalar(select(ObservationRow).where(ObservationRow.id == observation_id))


def observations_of(db: Session, session_id: str) -> list[ObservationRow]:
    """Return the observations of a session, newest last."""
    mine = select(ObservationRow).where(ObservationRow.session_id == session_id)
    return list(db.scalars(mine.order_by(ObservationRow.number)))


def observation_as_dict(row: ObservationRow) -> dict[str, Any]:
    """Return an observation in plain types."""
    return {
        "id": row.id,
        "session_id": row.session_id,
        "trial_id": row.trial_id,
        "kind": row.kind,
        "text": row.text,
        "minutes": row.minutes,
        "help": row.help,
        "account_id": row.account_id,
        "at": row.at.isoformat(),
    }


def add_observation(
    db: Session,
    *,
    observation_id: str,
    session_id: str,
    account_id: str,
    at: datetime,
    values: Mapping[str, Any],
) -> tuple[ObservationRow, bool]:
    """Add an observation; the caller commits.

    Parameters
    ----------
    db : Session
        Database session.
    observation_id : str
        UUID made by the sender: the same observation sent again changes nothing.
    session_id, account_id : str
        In which session, by whom.
    at : datetime
        Now.
    values : mapping
        `trial_id`, `kind`, `text`, `minutes`, `help`.

    Returns
    -------
    observation : ObservationRow
        As stored.
    created : bool
        False if it was there already.

    Raises
    ------
    Problem
        409 if the note is signed or the id belongs to another observation; 410 if the child
        was erased meanwhile; 422 if the values do not fit their kind or the session.
    """
    whole = {"session_id": session_id, **values}
    # Before it is checked: its trial may have been moved to another session since.
    found = _same(db, observation_id, whole)
    if found is not None:
        return found, False
    _check(db, session_id, values)
    row = ObservationRow(id=observation_id, account_id=account_id, at=at, **whole)
    try:
        db.add(row)
        db.flush()
    except IntegrityError:
        db.rollback()
        found = _same(db, observation_id, whole)
        if found is not None:
            return found, False
        raise _refusal(db, session_id) from None
    return row, True


def change_observation(db: Session, row: ObservationRow, values: Mapping[str, Any]) -> None:
    """Say an observation anew; the caller commits.

    Raises
    ------
    Problem
        409 if the note is signed, 422 if the values do not fit.
    """
    session_id = row.session_id
    _refuse_signed(db, session_id)
    _check(db, session_id, values)
    for name in COLUMNS:
        setattr(row, name, values[name])
    try:
        db.flush()
    except IntegrityError:
        # Signed between the look and the write: the database itself refuses then.
        db.rollback()
        raise _refusal(db, session_id) from None
    except StaleDataError:
        db.rollback()
        raise Problem(404) from None


def delete_observation(db: Session, row: ObservationRow) -> None:
    """Take an observation back; the caller commits.

    Raises
    ------
    Problem
        409 if the note is signed.
    """
    session_id = row.session_id
    _refuse_signed(db, session_id)
    # Another one may have taken it back just now: that is no fault.
    gone = delete(ObservationRow).where(ObservationRow.id == row.id)
    try:
        db.execute(gone)
    except IntegrityError:
        db.rollback()
        raise _refusal(db, session_id) from None


def _is_signed(db: Session, session_id: str) -> bool:
    state = db.scalar(select(NoteRow.state).where(NoteRow.session_id == session_id))
    return state in ("signed", "cosigned")


def _refuse_signed(db: Session, session_id: str) -> None:
    if _is_signed(db, session_id):
        raise Problem(409, SIGNED)


def _refusal(db: Session, session_id: str) -> Problem:
    # Or the child was erased after its session had been found.
    refuse_erased(db, session_id)
    return Problem(409, SIGNED if _is_signed(db, session_id) else None)


def _same(db: Session, observation_id: str, values: Mapping[str, Any]) -> ObservationRow | None:
    found = observation_by_id(db, observation_id)
    if found is not None and any(getattr(found, key) != values[key] for key in values):
        raise Problem(409, OTHER_OBSERVATION)
    return found


def _check(db: Session, session_id: str, values: Mapping[str, Any]) -> None:
    faults = list(_faults(values))
    if values["trial_id"] is not None:
        mine = select(TrialRow.id).where(
            TrialRow.id == values["trial_id"], TrialRow.session_id == session_id
        )
        if db.scalar(mine) is None:
            faults.append(Fault("/trial_id", OTHER_SESSION))
    if faults:
        raise Problem(422, errors=faults)


def _faults(values: Mapping[str, Any]) -> Iterator[Fault]:
    kind = KINDS[values["kind"]]
    if kind.needs_text and not (values["text"] or "").strip():
        yield Fault("/text", NEEDS_TEXT)
    if not kind.has_minutes and values["minutes"] is not None:
        yield Fault("/minutes", NO_MINUTES)
    if not kind.has_help and values["help"] is not None:
        yield Fault("/help", NO_HELP)
