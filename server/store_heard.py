"""When tablets were last heard of, as the audit noted it."""

from collections.abc import Collection
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.batches import batches
from server.tables import AuditRow


def latest_pairings(
    db: Session, account_id: str, tablet_ids: Collection[str]
) -> dict[str, datetime]:
    """Return when an account last paired each tablet; one it never paired is left out."""
    return _latest(db, account_id, "paired", "tablet", tablet_ids)


def fetched_at(db: Session, account_id: str, plan_ids: Collection[str]) -> dict[str, datetime]:
    """Return when a tablet of an account last took each plan; one never taken is left out.

    The audit notes day packs plan by plan, but not which tablet took them.
    """
    return _latest(db, account_id, "fetched", "plan", plan_ids)


def _latest(
    db: Session, account_id: str, verb: str, kind: str, object_ids: Collection[str]
) -> dict[str, datetime]:
    found: dict[str, datetime] = {}
    for batch in batches(object_ids):
        rows = db.execute(
            select(AuditRow.object_id, func.max(AuditRow.at))
            .where(
                AuditRow.account_id == account_id,
                AuditRow.object_id.in_(batch),
                AuditRow.verb == verb,
                AuditRow.kind == kind,
            )
            .group_by(AuditRow.object_id)
        )
        found |= {object_id: at for object_id, at in rows if object_id is not None}
    return found
