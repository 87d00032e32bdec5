"""Observations: added in a session, changed or taken back until its note is signed."""

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Response
from pydantic import Field
from sqlalchemy.orm import Session

from server import audit
from server.deps import Db, LinkedSession, Now, TabletSender, Therapist, seen_session
from server.faults import Fault
from server.fields import Code
from server.openapi import REPEATED
from server.problems import Problem
from server.receiving import session_observed
from server.request_fields import Body, Text, Uuid
from server.routes_trials import Help, json_answer
from server.store_observations import (
    add_observation,
    change_observation,
    delete_observation,
    observation_as_dict,
    observation_by_id,
    observations_of,
)
from server.tables import Child, ObservationRow, SessionRow
from server.validation import SENTENCES

router = APIRouter(prefix="/api")

SHORTEST_MIN, LONGEST_MIN = 0.5, 24 * 60
TOO_SHORT = SENTENCES["greater_than_equal"].format(ge=SHORTEST_MIN)

Kind = Literal[
    "helper_hand_holds",
    "helper_hand_turns",
    "thumb_up",
    "elbow_off_table",
    "trunk_still",
    "turned_instead_of_crossing",
    "swapped_hands",
    "grip_whole_hand",
    "grip_fingers_pronated",
    "grip_static_tripod",
    "grip_dynamic_tripod",
    "grip_other",
    "distress",
    "rest",
    "activity",
    "said",
    "remark",
]


class ObservationChange(Body):
    """What was observed; what is left out is empty."""

    trial_id: Uuid | None = None
    kind: Kind
    text: Text | None = None
    # A tablet times a rest itself, however short it was: what it kept is never refused.
    minutes: Annotated[float, Field(ge=0, le=LONGEST_MIN)] | None = None
    help: Help | None = None

    def values(self) -> dict[str, Any]:
        """Return the columns of the observation."""
        given = self.help
        return {
            "trial_id": self.trial_id,
            "kind": self.kind,
            "text": self.text,
            "minutes": self.minutes,
            "help": None if given is None else given.model_dump(exclude_none=True),
        }


class NewObservation(ObservationChange):
    """What was observed; `id` is made by the sender."""

    id: Uuid
    minutes: Annotated[float, Field(ge=SHORTEST_MIN, le=LONGEST_MIN)] | None = None


class TabletObservation(NewObservation):
    """What was observed beside the tablet, while it was showing a plan."""

    plan_id: Code
    minutes: Annotated[float, Field(ge=0, le=LONGEST_MIN)] | None = None


@dataclass(frozen=True)
class SeenObservation:
    """An observation that may be seen, with its child."""

    row: ObservationRow
    child: Child


def linked_observation(observation_id: str, account: Therapist, db: Db) -> SeenObservation:
    """Return an observation of a child the therapist is linked to; others do not exist."""
    row = observation_by_id(db, observation_id)
    if row is None:
        raise Problem(404)
    return SeenObservation(row, seen_session(db, account, row.session_id).child)


LinkedObservation = Annotated[SeenObservation, Depends(linked_observation)]


@router.get("/sessions/{session_id}/observations")
def read_observations(seen: LinkedSession, db: Db) -> Response:
    """Return the observations of a session, newest last."""
    rows = observations_of(db, seen.session.id)
    return json_answer({"observations": [observation_as_dict(row) for row in rows]})


@router.post("/sessions/{session_id}/observations", status_code=201, responses=REPEATED)
def post_observation(
    account: Therapist, seen: LinkedSession, body: NewObservation, db: Db, now: Now
) -> Response:
    """Add an observation: 201 if it is new, 200 if it is there already."""
    row, created = _added(db, now, body, seen.session, account.id)
    return json_answer(observation_as_dict(row), 201 if created else 200)


@router.post("/tablet/observations", status_code=201, responses=REPEATED)
def post_from_tablet(sent_by: TabletSender, body: TabletObservation, db: Db, now: Now) -> Response:
    """Add an observation to the session of a plan: 201 if it is new, 200 if it is there.

    A trial that it is about must have arrived before it.
    """
    session = session_observed(
        db, sent_by, body.plan_id, observation_id=body.id, trial_id=body.trial_id
    )
    row, created = _added(db, now, body, session, sent_by.account.id)
    # A tablet is told no more than it needs to clear what it sent.
    return json_answer({"id": row.id}, 201 if created else 200)


def _added(
    db: Session, now: datetime, body: NewObservation, session: SessionRow, account_id: str
) -> tuple[ObservationRow, bool]:
    row, created = add_observation(
        db,
        observation_id=body.id,
        session_id=session.id,
        account_id=account_id,
        at=now,
        values=body.values(),
    )
    if created:
        audit.note(db, now, account_id, "made", "observation", row.id, child_id=session.child_id)
        db.commit()
    return row, created


@router.put("/observations/{observation_id}")
def put_observation(
    account: Therapist, seen: LinkedObservation, body: ObservationChange, db: Db, now: Now
) -> Response:
    """Say an observation anew; minutes shorter than anybody types stay as a tablet timed them."""
    typed = None if body.minutes == seen.row.minutes else body.minutes
    if typed is not None and typed < SHORTEST_MIN:
        raise Problem(422, errors=[Fault("/minutes", TOO_SHORT)])
    change_observation(db, seen.row, body.values())
    audit.note(db, now, account.id, "changed", "observation", seen.row.id, child_id=seen.child.id)
    db.commit()
    return json_answer(observation_as_dict(seen.row))


@router.delete("/observations/{observation_id}", status_code=204, response_class=Response)
def remove_observation(account: Therapist, seen: LinkedObservation, db: Db, now: Now) -> None:
    """Take an observation back."""
    observation_id = seen.row.id
    delete_observation(db, seen.row)
    audit.note(
        db, now, account.id, "deleted", "observation", observation_id, child_id=seen.child.id
    )
    db.commit()
