"""Accounts: the adults who can sign in."""

from collections.abc import Set as AbstractSet

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.auth import passphrase_hash
from server.tables import ROLES, Account, AccountRole


def create_account(
    db: Session,
    *,
    name: str,
    passphrase: str,
    roles: AbstractSet[str],
    supervisor_id: str | None = None,
) -> Account:
    """Add an account.

    Parameters
    ----------
    db : Session
        Database session; the caller commits.
    name : str
        What the adult signs in with; letters' case does not matter.
    passphrase : str
        Kept as an argon2id hash only.
    roles : set of str
        Any of assistant, supervisor, researcher, owner.
    supervisor_id : str or None
        Who supervises this account.

    Returns
    -------
    Account
        The account, with its id.

    Raises
    ------
    ValueError
        If there is a role that does not exist, or none.
    """
    if not roles or not roles <= set(ROLES):
        raise ValueError(f"roles must be one or more of {', '.join(ROLES)}")
    account = Account(
        name=account_name(name),
        passphrase_hash=passphrase_hash(passphrase),
        supervisor_id=supervisor_id,
        role_rows=[AccountRole(role=role) for role in sorted(roles)],
    )
    db.add(account)
    db.flush()
    return account


def account_name(name: str) -> str:
    """Return a name as it is stored and compared: trimmed, in lower case."""
    return name.strip().casefold()


def account_by_name(db: Session, name: str) -> Account | None:
    """Return the account with a name, or None."""
    return db.scalar(select(Account).where(Account.name == account_name(name)))


def account_by_id(db: Session, account_id: str) -> Account | None:
    """Return the account with an id, or None."""
    return db.get(Account, account_id)


def supervised_ids(db: Session, account: Account) -> list[str]:
    """Return the ids of the accounts that an account supervises."""
    if "supervisor" not in account.roles:
        return []
    return list(db.scalars(select(Account.id).where(Account.supervisor_id == account.id)))
