"""The audit, read: a supervisor's of one child, the owner's of accounts, settings, exports."""

from typing import Annotated, Any

from fastapi import APIRouter, Query, Response

from server import audit
from server.deps import Db, Now, SignedIn
from server.problems import Problem
from server.routes_trials import json_answer
from server.store_audit import MOST_LINES, lines_of_child, lines_of_practice
from server.store_children import child_of
from server.tables import AuditRow

router = APIRouter(prefix="/api/audit")

LARGEST_NUMBER = 2**53
Before = Annotated[int | None, Query(ge=1, le=LARGEST_NUMBER)]
Limit = Annotated[int, Query(ge=1, le=MOST_LINES)]


def line_as_dict(line: AuditRow, name: str | None) -> dict[str, Any]:
    """Return a line of the audit in plain types."""
    return {
        "number": line.number,
        "at": line.at.isoformat(),
        "account_id": line.account_id,
        "name": name,
        "verb": line.verb,
        "kind": line.kind,
        "object_id": line.object_id,
        "child_id": line.child_id,
    }


@router.get("")
def read_audit(
    account: SignedIn,
    db: Db,
    now: Now,
    child_id: Annotated[str | None, Query()] = None,
    before: Before = None,
    limit: Limit = 50,
) -> Response:
    """Return lines of the audit, newest first; `before` is the number the next page starts at.

    With a child: who saw and changed its record, for a supervisor who sees the child.
    Without: lines that belong to no child, for the owner.
    """
    if ("owner" if child_id is None else "supervisor") not in account.roles:
        raise Problem(403)
    if child_id is None:
        lines = lines_of_practice(db, before, limit + 1)
    else:
        if child_of(db, account, child_id) is None:
            raise Problem(404)
        lines = lines_of_child(db, child_id, before, limit + 1)
    shown = lines[:limit]
    audit.note(db, now, account.id, "saw", "audit", child_id=child_id)
    db.commit()
    more = len(lines) > limit
    return json_answer(
        {
            "lines": [line_as_dict(*one) for one in shown],
            "before": shown[-1][0].number if more else None,
        }
    )
