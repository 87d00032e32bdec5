"""Who sees a child: care links, made and ended by supervisors."""

from typing import Any

from fastapi import APIRouter, Response

from server import audit
from server.dates import iso
from server.deps import Config, Db, LinkedChild, Now, Supervisor, Therapist
from server.problems import Problem
from server.request_fields import Body, Day, Uuid
from server.routes_trials import json_answer
from server.store_links import add_link, end_link, links_of, open_therapists
from server.tables import CareLink

router = APIRouter(prefix="/api/children/{child_id}/links")

ONLY_YOUR_OWN = "You may end your own link only; a supervisor may end others."


class NewLink(Body):
    """Whom to link, from which day on; today if it is not given."""

    account_id: Uuid
    from_day: Day | None = None


class LinkEnd(Body):
    """From which day on the child is not seen any more; today if it is not given."""

    to_day: Day | None = None


def link_as_dict(care_link: CareLink, name: str) -> dict[str, Any]:
    """Return a care link in plain types."""
    return {
        "account_id": care_link.account_id,
        "name": name,
        "from_day": care_link.from_day.isoformat(),
        "to_day": iso(care_link.to_day),
        "made_by": care_link.made_by,
    }


@router.get("")
def read_links(account: Therapist, child: LinkedChild, db: Db) -> Response:
    """Return who sees a child, from when to when; a supervisor is also told who could."""
    answer: dict[str, Any] = {"links": [link_as_dict(*one) for one in links_of(db, child.id)]}
    if "supervisor" in account.roles:
        answer["therapists"] = [
            {"account_id": one.id, "name": one.name} for one in open_therapists(db)
        ]
    return json_answer(answer)


@router.post("", status_code=201)
def post_link(
    account: Supervisor, child: LinkedChild, body: NewLink, db: Db, now: Now, settings: Config
) -> Response:
    """Let another therapist see a child."""
    from_day = body.from_day or settings.day_of(now)
    made = add_link(db, child, body.account_id, from_day, made_by=account.id)
    audit.note(db, now, account.id, "linked", "care_link", body.account_id, child_id=child.id)
    db.commit()
    return json_answer(link_as_dict(*made), 201)


@router.post("/{account_id}/end")
def post_end(
    account: Therapist,
    child: LinkedChild,
    account_id: str,
    db: Db,
    now: Now,
    settings: Config,
    body: LinkEnd | None = None,
) -> Response:
    """End a link: a supervisor any of a child she sees, an assistant her own."""
    if account_id != account.id and "supervisor" not in account.roles:
        raise Problem(403, ONLY_YOUR_OWN)
    to_day = None if body is None else body.to_day
    ended = end_link(db, child.id, account_id, to_day, today=settings.day_of(now))
    audit.note(db, now, account.id, "unlinked", "care_link", account_id, child_id=child.id)
    db.commit()
    return json_answer(link_as_dict(*ended))
