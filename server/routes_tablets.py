"""Tablets as the adults see them: which are paired, what they are called, ending one."""

from typing import Annotated, Any

from fastapi import APIRouter, Depends
from pydantic import Field, StringConstraints

from server import audit
from server.dates import iso
from server.deps import THERAPIST_ROLES, Db, Now, SignedIn, Therapist
from server.fields import LINE_PATTERN
from server.problems import Problem
from server.request_fields import Body
from server.store_tablets import (
    KnownTablet,
    calibrations_of,
    known_tablets,
    name_tablet,
    revoke,
    tablet_of,
)
from server.tables import Account, Calibration, Token

router = APIRouter(prefix="/api/tablets")

OWNER = "owner"
LONGEST_LABEL = 60

TabletLabel = Annotated[
    str,
    StringConstraints(
        strip_whitespace=True, pattern=LINE_PATTERN, min_length=1, max_length=LONGEST_LABEL
    ),
]


class LabelBody(Body):
    """What the adults call the tablet, such as the colour of its case."""

    label: TabletLabel | None = Field(
        description="Never a child's name: it is shown to everyone who looks after tablets."
    )


def keeper(account: SignedIn) -> Account:
    """Return a therapist or the owner, or refuse."""
    if not account.roles & (THERAPIST_ROLES | {OWNER}):
        raise Problem(403)
    return account


Keeper = Annotated[Account, Depends(keeper)]


def _whose(account: Account) -> str | None:
    """Return whose tablets an account sees: its own, or all of them if it is the owner's."""
    return None if OWNER in account.roles else account.id


def _token(token: Token) -> dict[str, Any]:
    return {
        "read_until": token.read_until.isoformat(),
        "write_until": token.write_until.isoformat(),
        "revoked_at": iso(token.revoked_at),
    }


def calibration_as_dict(calibration: Calibration) -> dict[str, Any]:
    """Return a calibration in plain types."""
    made_at = calibration.made_at
    width, height = calibration.screen_width_mm, calibration.screen_height_mm
    return {
        "id": calibration.id,
        "px_per_mm": calibration.px_per_mm,
        "ratio": calibration.ratio,
        "screen_mm": None if width is None or height is None else [width, height],
        "made_at": iso(made_at),
        "received_at": calibration.received_at.isoformat(),
    }


def _known(known: KnownTablet) -> dict[str, Any]:
    last, newest = known.last_trial_at, known.calibration
    return {
        "tablet_id": known.tablet.id,
        "label": known.tablet.label,
        "paired_at": known.tablet.paired_at.isoformat(),
        "tokens": [_token(token) for token in known.tokens],
        "calibration": None if newest is None else calibration_as_dict(newest),
        "last_trial_at": iso(last),
    }


def _one(db: Db, account: Account, tablet_id: str, now: Now) -> dict[str, Any]:
    (known,) = known_tablets(
        db, _whose(account), now, with_trials=OWNER not in account.roles, tablet_ids=[tablet_id]
    )
    return _known(known)


@router.get("")
def read_tablets(account: Keeper, db: Db, now: Now) -> dict[str, Any]:
    """Return the tablets an account has paired; to the owner all, without a word on trials."""
    known = known_tablets(db, _whose(account), now, with_trials=OWNER not in account.roles)
    audit.note(db, now, account.id, "saw", "tablets")
    db.commit()
    return {"tablets": [_known(one) for one in known]}


@router.patch("/{tablet_id}")
def label_tablet(
    tablet_id: str, body: LabelBody, account: Therapist, db: Db, now: Now
) -> dict[str, Any]:
    """Give a tablet a label, or take it away: everyone who has paired it sees it."""
    tablet = tablet_of(db, tablet_id, account.id)
    if tablet is None:
        raise Problem(404)
    if name_tablet(db, tablet, body.label):
        audit.note(db, now, account.id, "named", "tablet", tablet.id)
        db.commit()
    return _one(db, account, tablet.id, now)


@router.post("/{tablet_id}/revoke")
def revoke_tablet(tablet_id: str, account: Keeper, db: Db, now: Now) -> dict[str, Any]:
    """End this account's pairings of a tablet; the owner ends everybody's.

    What waits on the tablet stays there: paired again, it sends it.
    """
    tablet = tablet_of(db, tablet_id, _whose(account))
    if tablet is None:
        raise Problem(404)
    if revoke(db, tablet.id, _whose(account), now) > 0:
        audit.note(db, now, account.id, "revoked", "tablet", tablet.id)
        db.commit()
    return _one(db, account, tablet.id, now)


@router.get("/{tablet_id}/calibrations")
def read_calibrations(tablet_id: str, account: Keeper, db: Db, now: Now) -> dict[str, Any]:
    """Return what a card on the tablet's screen said each time, newest last."""
    tablet = tablet_of(db, tablet_id, _whose(account))
    if tablet is None:
        raise Problem(404)
    audit.note(db, now, account.id, "saw", "tablet", tablet.id)
    db.commit()
    found = calibrations_of(db, [tablet.id])
    return {"calibrations": [calibration_as_dict(one) for one in found]}
