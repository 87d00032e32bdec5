"""What a tablet asks for: to be paired, the plans of its day, to keep a calibration."""

from typing import Annotated, Any

from fastapi import APIRouter, Request, Response
from pydantic import BeforeValidator, Field

from server import audit, auth, pairing
from server.deps import (
    Address,
    Bearer,
    Config,
    CurrentTablet,
    Db,
    Now,
    ReadingTablet,
    Therapist,
    Tries,
)
from server.etags import tag_of, unless_held
from server.fields import Code, pair
from server.openapi import ASKS_AGAIN, HELD, REPEATED, gives
from server.problems import Problem
from server.request_fields import Body, Moment
from server.store_accounts import account_by_id
from server.store_day import children_in, day_pack, with_time
from server.store_tablets import add_calibration
from server.tables import Calibration

router = APIRouter(prefix="/api")

TIME_HEADER = "Linnet-Time"
WRONG_CODE = "This code is not right, was used already, or has ended. Ask for a new one."


# Screens from a coarse wall display to a fine phone, in CSS pixels.
PxPerMm = Annotated[float, Field(strict=True, ge=1, le=40)]
PixelRatio = Annotated[float, Field(strict=True, gt=0, le=16)]
ScreenSide = Annotated[float, Field(strict=True, gt=0, le=10_000)]


class TypedCode(Body):
    """A pairing code as typed."""

    code: Annotated[str, Field(min_length=1, max_length=40)]


class CalibrationBody(Body):
    """What a card laid on the screen said; `id` is made by the tablet."""

    id: Code
    px_per_mm: PxPerMm
    ratio: PixelRatio | None = None
    screen_mm: (
        Annotated[list[ScreenSide], BeforeValidator(pair), Field(min_length=2, max_length=2)] | None
    ) = None
    made_at: Moment | None = None


@router.post("/pairing-codes", status_code=201)
def make_pairing_code(account: Therapist, db: Db, now: Now) -> dict[str, str]:
    """Make a code that pairs one tablet with the therapist's day."""
    code, expires_at = pairing.make_code(db, account.id, now)
    audit.note(db, now, account.id, "made", "pairing_code")
    db.commit()
    return {"code": code, "expires_at": expires_at.isoformat()}


@router.post("/pair")
def pair_tablet(
    body: TypedCode,
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


@router.get("/tablet/day", responses=gives("DayDocument") | HELD, openapi_extra=ASKS_AGAIN)
def read_day(
    request: Request, token: ReadingTablet, db: Db, now: Now, settings: Config
) -> Response:
    """Return the day pack, or 304 if the tablet has it already; both with the server's time."""
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

    def fetched() -> dict[str, Any]:
        for plan_id, child_id in children_in(db, pack).items():
            audit.note(db, now, account.id, "fetched", "plan", plan_id, child_id=child_id)
        db.commit()
        return with_time(pack, now)

    # The server's clock is no part of what the tag stands for.
    answer = unless_held(request, tag_of(pack), fetched)
    # Also where nothing else is new: a tablet's clock may have been set since it asked last.
    answer.headers[TIME_HEADER] = now.isoformat()
    return answer


@router.post("/tablet/calibrations", status_code=201, responses=REPEATED)
def keep_calibration(
    body: CalibrationBody, token: CurrentTablet, db: Db, now: Now, response: Response
) -> dict[str, str]:
    """Keep a calibration: 201 if it is new, 200 if it is there already, 409 if another is."""
    width_mm, height_mm = body.screen_mm or (None, None)
    calibration, created = add_calibration(
        db,
        Calibration(
            id=body.id,
            tablet_id=token.tablet_id,
            px_per_mm=body.px_per_mm,
            ratio=body.ratio,
            screen_width_mm=width_mm,
            screen_height_mm=height_mm,
            made_at=body.made_at,
            received_at=now,
            account_id=token.account_id,
        ),
    )
    if created:
        audit.note(db, now, token.account_id, "calibrated", "tablet", token.tablet_id)
        db.commit()
    response.status_code = 201 if created else 200
    return {"id": calibration.id}
