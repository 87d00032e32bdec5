"""Consents of a child's family: noted, and withdrawn once."""

from datetime import date
from typing import Any, Literal

from fastapi import APIRouter, Response

from server import audit
from server.dates import iso
from server.deps import Config, Db, LinkedChild, Now, Therapist
from server.faults import Fault
from server.problems import Problem
from server.request_fields import Body, Day
from server.routes_trials import json_answer
from server.store_consents import add_consent, consents_of, holds, withdraw
from server.tables import Consent
from server.tables_people import CONSENT_PURPOSES

router = APIRouter(prefix="/api/children/{child_id}/consents")

TO_COME = "This day is still to come."


class NewConsent(Body):
    """What was agreed to, when, by whom."""

    purpose: Literal["measuring", "research", "samples", "photographs"]
    given_on: Day
    given_by: Literal["parent", "guardian", "child", "other"]


class Withdrawal(Body):
    """From which day on a consent is not in force."""

    on: Day


def consent_as_dict(consent: Consent) -> dict[str, Any]:
    """Return a consent in plain types."""
    until, noted = consent.withdrawn_on, consent.withdrawn_at
    return {
        "consent_id": consent.id,
        "purpose": consent.purpose,
        "given_on": consent.given_on.isoformat(),
        "given_by": consent.given_by,
        "account_id": consent.account_id,
        "at": consent.at.isoformat(),
        "withdrawn_on": iso(until),
        "withdrawn_at": iso(noted),
    }


def _check_past(day: date, path: str, today: date) -> None:
    if day > today:
        raise Problem(422, errors=[Fault(path, TO_COME)])


@router.get("")
def read_consents(child: LinkedChild, db: Db, now: Now, settings: Config) -> Response:
    """Return the consents of a child, and which purposes are covered today."""
    today = settings.day_of(now)
    consents = consents_of(db, child.id)
    covered = {
        purpose: holds([one for one in consents if one.purpose == purpose], today)
        for purpose in CONSENT_PURPOSES
    }
    return json_answer({"consents": [consent_as_dict(one) for one in consents], "today": covered})


@router.post("", status_code=201)
def post_consent(
    account: Therapist, child: LinkedChild, body: NewConsent, db: Db, now: Now, settings: Config
) -> Response:
    """Note a consent."""
    _check_past(body.given_on, "/given_on", settings.day_of(now))
    consent = add_consent(db, child_id=child.id, account_id=account.id, at=now, **body.model_dump())
    audit.note(db, now, account.id, "added", "consent", consent.id, child_id=child.id)
    db.commit()
    return json_answer(consent_as_dict(consent), 201)


@router.post("/{consent_id}/withdraw")
def post_withdrawal(
    account: Therapist,
    child: LinkedChild,
    consent_id: str,
    body: Withdrawal,
    db: Db,
    now: Now,
    settings: Config,
) -> Response:
    """Note that a consent was withdrawn."""
    _check_past(body.on, "/on", settings.day_of(now))
    consent = withdraw(db, child.id, consent_id, body.on, now)
    audit.note(db, now, account.id, "withdrew", "consent", consent.id, child_id=child.id)
    db.commit()
    return json_answer(consent_as_dict(consent))
