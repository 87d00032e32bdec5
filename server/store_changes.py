"""What was changed about accounts, tablets and settings: lines of the audit, and their names."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, and_, or_, select
from sqlalchemy.orm import Session

from server.store_audit import Line
from server.tables import Account, AuditRow, Invitation, PracticeSetting, Tablet

SETTING = "setting."
# Kinds, and what changes them. Looks, sign-ins and every word about a child stay out.
CHANGES = {
    "account": ("joined", "changed", "closed", "reopened", "signed_out_everywhere"),
    "passphrase": ("invited", "reset", "changed"),
    "second_factor": ("set_up", "turned_on", "turned_off"),
    "invitation": ("invited", "withdrew"),
    "tablet": ("paired", "named", "revoked"),
    "tablets": ("revoked",),
    "database": ("backed_up", "restored"),
}


def changes_of_practice(db: Session, before: int | None, limit: int) -> list[Line]:
    """Return what was changed about accounts, tablets and settings, newest first.

    Parameters
    ----------
    db : Session
        Database session.
    before : int or None
        Only lines with a lower number.
    limit : int
        At most so many. [1]

    Returns
    -------
    list of (AuditRow, str or None)
        Each line with the name of the account that did it.
    """
    rows = (
        select(AuditRow, Account.name)
        .outerjoin(Account, Account.id == AuditRow.account_id)
        .where(AuditRow.child_id.is_(None), _is_change())
        .order_by(AuditRow.number.desc())
        .limit(limit)
    )
    if before is not None:
        rows = rows.where(AuditRow.number < before)
    return [(line, name) for line, name in db.execute(rows)]


def _is_change() -> ColumnElement[bool]:
    known = [and_(AuditRow.kind == kind, AuditRow.verb.in_(CHANGES[kind])) for kind in CHANGES]
    chosen = and_(AuditRow.kind.startswith(SETTING, autoescape=True), AuditRow.verb == "changed")
    return or_(*known, chosen)


def account_names(db: Session) -> dict[str, str]:
    """Return the names of all accounts by id."""
    return {one.id: one.name for one in db.execute(select(Account.id, Account.name))}


def tablets_by_id(db: Session, ids: Iterable[str]) -> dict[str, Tablet]:
    """Return tablets by id; those that do not exist are left out."""
    return {one.id: one for one in db.scalars(select(Tablet).where(Tablet.id.in_(ids)))}


def invitations_by_id(db: Session, ids: Iterable[str]) -> dict[str, Invitation]:
    """Return invitations by id; those that do not exist are left out."""
    return {one.id: one for one in db.scalars(select(Invitation).where(Invitation.id.in_(ids)))}


def values_chosen(db: Session, moments: Iterable[datetime]) -> dict[tuple[str, datetime], Any]:
    """Return what settings were set to at some moments, by name and moment."""
    rows = select(PracticeSetting).where(PracticeSetting.at.in_(moments))
    return {(one.name, one.at): one.value[0] for one in db.scalars(rows)}
