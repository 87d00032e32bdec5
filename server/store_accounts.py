"""Accounts: the adults who can sign in."""

from collections.abc import Set as AbstractSet
from datetime import datetime
from typing import Any
from unicodedata import normalize

from sqlalchemy import func, or_, select, update
from sqlalchemy.orm import Session

from server import second_factor
from server.auth import passphrase_hash
from server.faults import Fault
from server.problems import Problem
from server.tables import ROLES, Account, AccountRole, PairingCode, SignIn, Token

MOST_NAME_CHARACTERS = 60

BAD_NAME = f"A name is one line of 1 to {MOST_NAME_CHARACTERS} characters."
TAKEN_NAME = "This name is taken. Choose another one."


def create_account(
    db: Session,
    *,
    name: str,
    passphrase: str,
    roles: AbstractSet[str],
    supervisor_id: str | None = None,
    now: datetime | None = None,
) -> Account:
    """Add an account.

    Parameters
    ----------
    db : Session
        Database session; the caller commits.
    name : str
        What the adult signs in with; letters' case does not matter.
    passphrase : str
        Kept as an argon2id hash only. The rules for new ones are the caller's to check.
    roles : set of str
        Any of assistant, supervisor, researcher, owner.
    supervisor_id : str or None
        Who supervises this account.
    now : datetime or None
        When it is added, if that is to be known.

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
        added_at=now,
        role_rows=[AccountRole(role=role) for role in sorted(roles)],
    )
    db.add(account)
    db.flush()
    return account


def account_name(name: str) -> str:
    """Return a name as it is stored and compared.

    In lower case, with single spaces, and in one form of its characters (NFKC).

    Examples
    --------
    >>> account_name("  Ferry   Two ")
    'ferry two'
    """
    return " ".join(normalize("NFKC", normalize("NFKC", name).casefold()).split())


def require_name(name: str, path: str) -> None:
    """Refuse what cannot be the name of a new account.

    Raises
    ------
    Problem
        422, with the place `path` in the request.
    """
    stored = account_name(name)
    is_one_line = name.strip().isprintable() and stored.isprintable()
    if not is_one_line or not 1 <= len(stored) <= MOST_NAME_CHARACTERS:
        raise Problem(422, errors=[Fault(path, BAD_NAME)])


def account_by_name(db: Session, name: str) -> Account | None:
    """Return the account with a name, or None."""
    return db.scalar(select(Account).where(Account.name == account_name(name)))


def account_by_id(db: Session, account_id: str) -> Account | None:
    """Return the account with an id, or None."""
    return db.get(Account, account_id)


def accounts(db: Session) -> list[Account]:
    """Return all accounts, closed ones too, by name."""
    return list(db.scalars(select(Account).order_by(Account.name)))


def last_seen(db: Session) -> dict[str, datetime]:
    """Return when each account was last seen at the desk, to the minute, by its id."""
    found = db.execute(
        select(SignIn.account_id, func.max(SignIn.seen_at)).group_by(SignIn.account_id)
    )
    return {account_id: seen_at for account_id, seen_at in found if seen_at is not None}


def open_accounts_with(db: Session, roles: AbstractSet[str]) -> list[Account]:
    """Return the accounts that are open and have one of some roles, by name."""
    held = select(AccountRole.account_id).where(AccountRole.role.in_(roles))
    return list(
        db.scalars(
            select(Account)
            .where(Account.closed_at.is_(None), Account.id.in_(held))
            .order_by(Account.name)
        )
    )


def supervised_ids(db: Session, account: Account) -> list[str]:
    """Return the ids of the accounts that an account supervises."""
    if "supervisor" not in account.roles:
        return []
    return list(db.scalars(select(Account.id).where(Account.supervisor_id == account.id)))


def set_passphrase(db: Session, account_id: str, passphrase: str) -> None:
    """Give an account another pass-phrase; the caller has checked it, and commits."""
    _change(db, account_id, passphrase_hash=passphrase_hash(passphrase))


def renew_hash(db: Session, account: Account, passphrase: str) -> None:
    """Hash a pass-phrase that fits with today's parameters; the caller commits.

    Nothing happens if it was changed in the meantime.
    """
    renewing = update(Account).where(
        Account.id == account.id, Account.passphrase_hash == account.passphrase_hash
    )
    db.execute(renewing.values(passphrase_hash=passphrase_hash(passphrase)))


def end_tablets(db: Session, account_id: str, now: datetime) -> None:
    """Revoke the tokens of an account's tablets, and its unused codes; the caller commits."""
    tokens = update(Token).where(Token.account_id == account_id, Token.revoked_at.is_(None))
    db.execute(tokens.values(revoked_at=now))
    codes = update(PairingCode).where(
        PairingCode.account_id == account_id, PairingCode.used_at.is_(None)
    )
    db.execute(codes.values(used_at=now))


def begin_second_factor(db: Session, account: Account) -> str | None:
    """Give an account a new secret, not on yet; the caller commits.

    Returns
    -------
    str or None
        The secret; None if a second factor is on.
    """
    secret = second_factor.new_secret()
    given = db.scalar(
        update(Account)
        .where(Account.id == account.id, Account.second_factor_since.is_(None))
        .values(second_factor=secret, second_factor_step=None)
        .returning(Account.id)
    )
    return None if given is None else secret


def spend_code(db: Session, account: Account, code: str, now: datetime, **more: Any) -> bool:
    """Use a code of the second factor up; the caller commits.

    Parameters
    ----------
    db : Session
        Database session.
    account : Account
        Whose.
    code : str
        As typed.
    now : datetime
        Now.
    **more
        Columns of the account that change together with it.

    Returns
    -------
    bool
        Whether the code is right and was not used before.
    """
    kept = account.second_factor
    last_step = account.second_factor_step
    step = None if kept is None else second_factor.step_of(kept, code, now, last_step)
    if step is None:
        return False
    # One statement, so that of two requests with the same code only one succeeds.
    unused = or_(Account.second_factor_step.is_(None), Account.second_factor_step < step)
    spent = db.scalar(
        update(Account)
        .where(Account.id == account.id, Account.second_factor == kept, unused)
        .values(second_factor_step=step, **more)
        .returning(Account.id)
    )
    return spent is not None


def drop_second_factor(db: Session, account_id: str) -> None:
    """Take the second factor of an account off; the caller commits."""
    _change(db, account_id, second_factor=None, second_factor_since=None, second_factor_step=None)


def _change(db: Session, account_id: str, **values: Any) -> None:
    db.execute(update(Account).where(Account.id == account_id).values(**values))
