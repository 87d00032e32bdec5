"""What an owner may change about an account, and what has to stay true afterwards."""

from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import delete, exists, select, update
from sqlalchemy.orm import Session, aliased

from server import audit, auth
from server.deps import THERAPIST_ROLES
from server.faults import Fault
from server.problems import Problem
from server.store_accounts import account_by_id, end_tablets, open_accounts_with
from server.store_children import TODAY, with_equal_signs
from server.store_invitations import withdraw_made_by, withdraw_resets
from server.tables import Account, AccountRole, CareLink

LAST_OWNER = "This is the only owner. Make another account an owner first."
NO_SUPERVISOR = "This must be the id of an open account with the role supervisor."
CIRCLE = "Nobody can supervise themselves, not by way of others either."
SUPERVISES = "This account supervises others. Give them another supervisor first."
ORPHANS = (
    "No open therapist could see {count} of the children any more. Link them to somebody else "
    "first."
)
EQUAL_SIGNS = (
    "Somebody would see two children with the same two pictures then. Ask a therapist to give "
    "one of them other pictures first."
)


@dataclass(frozen=True)
class Change:
    """What is to be different about an account; None, or not `moves`, leaves it as it is."""

    roles: AbstractSet[str] | None = None
    supervisor_id: str | None = None
    # Whether `supervisor_id` counts: None is a supervisor's place left empty.
    moves: bool = False
    closed: bool | None = None


def change_account(
    db: Session, account_id: str, change: Change, by: Account, now: datetime
) -> Account | None:
    """Change an account, note it in the audit, and commit; or change nothing.

    An account that is closed, or is no therapist any more, loses its tablets. One that is
    closed is signed out everywhere, and links to choose a new pass-phrase end. The links that
    an owner has made end with the role.

    Parameters
    ----------
    db : Session
        Database session.
    account_id : str
        Which account.
    change : Change
        What is to be different.
    by : Account
        The owner who does it.
    now : datetime
        Now.

    Returns
    -------
    Account or None
        The account as it is then; None if there is none with this id.

    Raises
    ------
    Problem
        409 if the practice would lose its last owner, a child its last therapist, or somebody
        their supervisor, or if a tablet would show the same pictures for two children; 422 if
        the supervisor cannot be one.
    """
    account = account_by_id(db, account_id)
    if account is None:
        return None
    _check_supervisor(db, change)
    seen_before, equal_before = children_in_sight(db), _equal_signs(db, account)
    was_closed = account.closed_at is not None
    _apply(db, account_id, change, now)
    # After its first write this request holds the lock: what is read from here on stays true.
    db.refresh(account)
    _check_supervisor(db, change)
    _check_circle(db, account)
    if not open_accounts_with(db, {"owner"}):
        raise Problem(409, LAST_OWNER)
    _check_supervised(db, account)
    lost = seen_before - children_in_sight(db)
    if lost:
        raise Problem(409, ORPHANS.format(count=len(lost)))
    if _equal_signs(db, account) - equal_before:
        raise Problem(409, EQUAL_SIGNS)
    _end_what_ends(db, account, now)
    _note(db, account, change, by, now, was_closed=was_closed)
    db.commit()
    return account


def _apply(db: Session, account_id: str, change: Change, now: datetime) -> None:
    this = update(Account).where(Account.id == account_id)
    if change.roles is not None:
        db.execute(delete(AccountRole).where(AccountRole.account_id == account_id))
        db.add_all(AccountRole(account_id=account_id, role=role) for role in sorted(change.roles))
    if change.moves:
        db.execute(this.values(supervisor_id=change.supervisor_id))
    if change.closed is True:
        # Closed twice, it stays closed since the first time.
        db.execute(this.where(Account.closed_at.is_(None)).values(closed_at=now))
    elif change.closed is False:
        db.execute(this.values(closed_at=None))
    db.flush()


def supervisor_fault(db: Session, supervisor_id: str | None) -> Fault | None:
    """Return what is wrong with a supervisor, or None; nobody is right."""
    if supervisor_id is None:
        return None
    above = account_by_id(db, supervisor_id)
    if above is None or above.closed_at is not None or "supervisor" not in above.roles:
        return Fault("/supervisor_id", NO_SUPERVISOR)
    return None


def _check_supervisor(db: Session, change: Change) -> None:
    fault = supervisor_fault(db, change.supervisor_id) if change.moves else None
    if fault is not None:
        raise Problem(422, errors=[fault])


def _check_circle(db: Session, account: Account) -> None:
    above, met = account.supervisor_id, set[str]()
    while above is not None and above not in met:
        if above == account.id:
            raise Problem(422, errors=[Fault("/supervisor_id", CIRCLE)])
        met.add(above)
        above = db.scalar(select(Account.supervisor_id).where(Account.id == above))


def _check_supervised(db: Session, account: Account) -> None:
    if account.closed_at is None and "supervisor" in account.roles:
        return
    waiting = exists().where(Account.supervisor_id == account.id, Account.closed_at.is_(None))
    if db.scalar(select(waiting)):
        raise Problem(409, SUPERVISES)


def children_in_sight(db: Session) -> set[str]:
    """Return the ids of the children whom at least one open therapist can see."""
    carer, above = aliased(Account), aliased(Account)
    as_carer = exists().where(
        AccountRole.account_id == carer.id,
        AccountRole.role.in_(THERAPIST_ROLES),
        carer.closed_at.is_(None),
    )
    as_supervisor = exists().where(
        AccountRole.account_id == above.id,
        AccountRole.role == "supervisor",
        above.closed_at.is_(None),
        above.id == carer.supervisor_id,
    )
    seen = (
        select(CareLink.child_id)
        .join(carer, carer.id == CareLink.account_id)
        .where(CareLink.to_day.is_(None), as_carer | as_supervisor)
    )
    day = db.info.get(TODAY)
    return set(db.scalars(seen if day is None else seen.where(CareLink.from_day <= day)))


def _equal_signs(db: Session, account: Account) -> set[str]:
    """Return the children that the account, or its supervisor, cannot tell apart on a tablet."""
    above = None if account.supervisor_id is None else account_by_id(db, account.supervisor_id)
    seers = [one for one in (account, above) if one is not None and one.closed_at is None]
    return {child_id for seer in seers for child_id in with_equal_signs(db, seer)}


def _end_what_ends(db: Session, account: Account, now: datetime) -> None:
    if account.closed_at is not None:
        auth.end_sign_ins(db, account.id, now)
        withdraw_resets(db, account.id, now)
    if account.closed_at is not None or "owner" not in account.roles:
        withdraw_made_by(db, account.id, now)
    if account.closed_at is not None or not account.roles & THERAPIST_ROLES:
        end_tablets(db, account.id, now)


def _note(
    db: Session, account: Account, change: Change, by: Account, now: datetime, *, was_closed: bool
) -> None:
    is_closed = account.closed_at is not None
    if is_closed != was_closed:
        verb = "closed" if is_closed else "reopened"
        audit.note(db, now, by.id, verb, "account", account.id)
    if change.roles is not None or change.moves:
        audit.note(db, now, by.id, "changed", "account", account.id)
