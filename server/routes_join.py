"""Coming in by a link: a new account, or a new pass-phrase."""

from typing import Annotated, Any

from fastapi import APIRouter, Response
from pydantic import Field

from server.deps import Address, Db, Now, Tries
from server.joining import join
from server.request_fields import Body
from server.secret_fields import LinkSecret, TypedPassphrase

router = APIRouter(prefix="/api")

CHOSEN: dict[int | str, dict[str, Any]] = {
    200: {
        "description": "A new pass-phrase was chosen.",
        "content": {"application/json": {"schema": {}}},
    }
}


class Joining(Body):
    """What stands behind the ``#`` of a link, and what was chosen."""

    secret: LinkSecret
    name: Annotated[str, Field(max_length=200)] = ""
    passphrase: TypedPassphrase


@router.post("/join", status_code=201, responses=CHOSEN)
def use_link(
    body: Joining,
    response: Response,
    db: Db,
    now: Now,
    throttle: Tries,
    address: Address,
) -> dict[str, object]:
    """Make an account (201), or choose a new pass-phrase (200)."""
    account, is_new = join(
        db,
        throttle,
        address,
        secret=body.secret.get_secret_value(),
        name=body.name,
        passphrase=body.passphrase.get_secret_value(),
        now=now,
    )
    response.status_code = 201 if is_new else 200
    return {"account_id": account.id, "roles": sorted(account.roles)}
