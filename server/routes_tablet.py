"""What a tablet asks for: to be paired, and the plans of its day."""

from typing import Annotated, Any

import orjson
from fastapi import APIRouter, Request, Response
from pydantic import BaseModel, Field

from server import audit, auth, pairing
from server.deps import Address, Bearer, Config, Db, Now, ReadingTablet, Therapist, Tries
from server.problems import Problem
from server.store_accounts import account_by_id
from server.store_sessions import day_pack, with_time

router = APIRouter(prefix="/api")

WRONG_CODE = "This code is not right, was used already, or has ended. Ask for a new one."


class Code(BaseModel):
    """A pairing code as typed."""

    code: Annotated[str, Field(min_length=1, max_length=40)]


@router.post("/pairing-codes", status_code=201)
def make_pairing_code(account: Therapist, db: Db, now: Now) -> dict[str, str]:
    """Make a code that pairs one tablet with the therapist's day."""
    code, expires_at = pairing.make_code(db, account.id, now)
    audit.note(db, now, account.id, "made", "pairing_code")
    db.commit()
    return {"code": code, "expires_at": expires_at.isoformat()}


@router.post("/pair")
def pair_tablet(
    body: Code,
    db: Db,
    now: Now,
    settings: Config,
    throttle: Tries,
    address: Address,
    bearer: Bearer,
) -> dict[str, str]:
    """Turn a code into a token. A tablet that shows its old token keeps its id."""
    throttle.count(auth.PAIRINGS_PER_ADDRESS, address)
    throttle.count(auth.PAIRINGS_IN_ALL)
    paired = pairing.pair(db, body.code, now, settings, old_token=bearer)
    if paired is None:
        raise Problem(422, WRONG_CODE)
    audit.note(db, now, paired.account_id, "paired", "tablet", paired.tablet_id)
    db.commit()
    return {
        "token": paired.token,
        "tablet_id": paired.tablet_id,
        "read_until": paired.read_until.isoformat(),
    }


def etag_of(pack: dict[str, Any]) -> str:
    """Return the ETag of a day pack, weak because the clock in the answer is left out."""
    return f'W/"{auth.digest(orjson.dumps(pack).decode())[:32]}"'


@router.get("/tablet/day")
def read_day(
    request: Request, token: ReadingTablet, db: Db, now: Now, settings: Config
) -> Response:
    """Return the day pack, or 304 if the tablet has it already."""
    account = account_by_id(db, token.account_id)
    if account is None:
        raise Problem(404)
    pack = day_pack(
        db,
        account,
        settings.day_of(now),
        tablet_id=token.tablet_id,
        expires_at=token.read_until,
    )
    headers = {"ETag": etag_of(pack), "Cache-Control": "private, no-cache"}
    held = [tag.strip() for tag in request.headers.get("if-none-match", "").split(",")]
    if headers["ETag"] in held:
        return Response(status_code=304, headers=headers)
    body = orjson.dumps(with_time(pack, now))
    return Response(body, headers=headers, media_type="application/json")
