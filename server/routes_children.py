"""Children a therapist is linked to: what is known of them, their trials, their trends."""

from datetime import date
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Response
from pydantic import Field, JsonValue, StringConstraints
from sqlalchemy.orm import Session

from server import audit
from server.audit_lists import note_listing
from server.dates import iso
from server.deps import Config, Db, LinkedChild, Now, Therapist
from server.faults import Fault
from server.fields import LINE_PATTERN
from server.problems import Problem
from server.request_fields import Body, Day, Month
from server.routes_trials import json_answer
from server.signs import SIGNS, is_pair
from server.store_children import (
    check_sign,
    children_of,
    create_child,
    keep_child,
    link,
    seers_of,
)
from server.store_sessions import sessions_of
from server.store_settings import setting
from server.store_trials import ATTEMPTS, trials_of_child
from server.tables import Child
from server.trial_lines import trial_lines

router = APIRouter(prefix="/api/children")

NO_MEASURE = "This must be the id of a measure of one trial; see linnet measures."
NOT_A_PAIR = "Choose two different pictures of the set; /api/signs lists it."
TO_COME = "This month is still to come."
GONE = "This day has passed; a record is kept until a day to come."
NEEDED = "This cannot be taken away."

ShortLine = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=40, pattern=LINE_PATTERN),
]
# `is_pair` checks them; the description of the interface tells of them.
PAIR: dict[str, JsonValue] = {
    "items": {"type": "string", "enum": list(SIGNS)},
    "minItems": 2,
    "maxItems": 2,
    "uniqueItems": True,
}
Sign = Annotated[list[ShortLine], Field(max_length=10, json_schema_extra=PAIR)]
Hand = Literal["left", "right", "mixed"]


class NewChild(Body):
    """A child as it comes into the practice."""

    code: ShortLine
    sign: Sign
    nickname: ShortLine | None = None
    birth_month: Month | None = None
    preferred_hand: Hand | None = None
    retention_until: Day | None = None


class ChildChange(Body):
    """What is to change of a child; keys that are not given stay as they are."""

    code: ShortLine | None = None
    sign: Sign | None = None
    nickname: ShortLine | None = None
    birth_month: Month | None = None
    preferred_hand: Hand | None = None
    retention_until: Day | None = None


def child_as_dict(child: Child) -> dict[str, Any]:
    """Return a child in plain types, for those who may see it."""
    until = child.retention_until
    return {
        "child_id": child.id,
        "code": child.code,
        "nickname": child.nickname,
        "sign": child.sign.split(),
        "birth_month": child.birth_month,
        "preferred_hand": child.preferred_hand,
        "retention_until": iso(until),
    }


def _check(body: NewChild | ChildChange, today: date) -> None:
    faults = []
    if isinstance(body, ChildChange):
        faults = [
            Fault(f"/{name}", NEEDED)
            for name in ("code", "sign")
            if name in body.model_fields_set and getattr(body, name) is None
        ]
    if body.sign is not None and not is_pair(body.sign):
        faults.append(Fault("/sign", NOT_A_PAIR))
    if body.birth_month is not None and body.birth_month > today.isoformat()[:7]:
        faults.append(Fault("/birth_month", TO_COME))
    if body.retention_until is not None and body.retention_until < today:
        faults.append(Fault("/retention_until", GONE))
    if faults:
        raise Problem(422, errors=faults)


@router.get("")
def read_children(account: Therapist, db: Db, now: Now) -> Response:
    """Return the children the therapist is linked to."""
    children = children_of(db, account)
    note_listing(db, now, account.id, "children", {one.id for one in children})
    return json_answer({"children": [child_as_dict(one) for one in children]})


@router.post("", status_code=201)
def post_child(account: Therapist, body: NewChild, db: Db, now: Now, settings: Config) -> Response:
    """Add a child, seen by who adds it from today on."""
    today = settings.day_of(now)
    _check(body, today)
    sign = " ".join(body.sign)
    values = body.model_dump() | {"sign": sign}
    if body.retention_until is None:
        values["retention_until"] = _kept_until(setting(db, "retention_years"), today)
    # Written before it is checked: from here on nobody else writes.
    child = create_child(db, added_at=now, **values)
    check_sign(db, child, sign, [account.id])
    link(db, account, child, today, account.id)
    audit.note(db, now, account.id, "added", "child", child.id, child_id=child.id)
    audit.note(db, now, account.id, "linked", "care_link", account.id, child_id=child.id)
    db.commit()
    return json_answer(child_as_dict(child), 201)


def _kept_until(years: int | None, today: date) -> date | None:
    if years is None:
        return None
    year = today.year + years
    if (today.month, today.day) == (2, 29):
        return date(year, 3, 1)
    return today.replace(year=year)


@router.patch("/{child_id}")
def patch_child(
    account: Therapist,
    child: LinkedChild,
    body: ChildChange,
    db: Db,
    now: Now,
    settings: Config,
) -> Response:
    """Change what is known of a child."""
    _check(body, settings.day_of(now))
    _change(db, child, body.model_dump(exclude_unset=True), account.id)
    audit.note(db, now, account.id, "changed", "child", child.id, child_id=child.id)
    db.commit()
    return json_answer(child_as_dict(child))


def _change(db: Session, child: Child, changes: dict[str, Any], account_id: str) -> None:
    if "sign" in changes:
        changes["sign"] = " ".join(changes["sign"])
    for name, value in changes.items():
        setattr(child, name, value)
    # Written before it is checked: from here on nobody else writes.
    keep_child(db)
    if "sign" in changes:
        check_sign(db, child, child.sign, {account_id, *seers_of(db, child.id)})


@router.get("/{child_id}")
def read_child(child: LinkedChild, db: Db) -> Response:
    """Return one child with its sessions, newest last."""
    sessions = [
        {"session_id": one.id, "day": one.day.isoformat(), "place": one.place}
        for one in sessions_of(db, child.id)
    ]
    return json_answer(child_as_dict(child) | {"sessions": sessions})


@router.get("/{child_id}/trials")
def read_trials(child: LinkedChild, db: Db) -> Response:
    """Return a line on each trial of a child, newest last, cut pieces and entries among them."""
    return json_answer({"trials": trial_lines(db, trials_of_child(db, child.id, kinds=ATTEMPTS))})


@router.get("/{child_id}/trend")
def read_trend(child: LinkedChild, measure: Annotated[str, Query()], db: Db) -> Response:
    """Return the series of one measure, each with its slope or the reason for none."""
    # The analysis takes a second to load; nothing else here needs it.
    from server.trend_series import measure_by_id, series_of
    from server.trend_statistics import as_dict

    entry = measure_by_id(measure)
    if entry is None:
        raise Problem(422, errors=[Fault("/measure", NO_MEASURE)])
    series = [as_dict(one) for one in series_of(db, child.id, entry.id)]
    return json_answer({"measure": entry.id, "unit": entry.unit, "series": series})
