"""Pairing a tablet: a short code, used once, becomes a long token bound to one therapist."""

import secrets
from dataclasses import dataclass
from datetime import datetime, time, timedelta

from sqlalchemy import Select, select, update
from sqlalchemy.orm import Session

from server.auth import digest, new_secret
from server.settings import Settings
from server.tables import Account, AccountRole, PairingCode, Tablet, Token

# Without I, O, 0 and 1, which look alike.
LETTERS = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
CODE_LENGTH = 8
CODE_LASTS = timedelta(minutes=10)
READ_LASTS = timedelta(hours=12)
# A tablet may have been in a bag for a while; what is on it still arrives.
WRITE_LASTS = timedelta(days=30)
CARING_ROLES = ("assistant", "supervisor")


@dataclass(frozen=True)
class Pairing:
    """What a tablet gets for a code."""

    token: str
    tablet_id: str
    account_id: str
    read_until: datetime


def make_code(db: Session, account_id: str, now: datetime) -> tuple[str, datetime]:
    """Make a pairing code; the caller commits.

    Parameters
    ----------
    db : Session
        Database session.
    account_id : str
        Whose children the tablet will show.
    now : datetime
        The code lasts ten minutes from here.

    Returns
    -------
    code : str
        Eight characters.
    expires_at : datetime
        When it ends.
    """
    code = "".join(secrets.choice(LETTERS) for _ in range(CODE_LENGTH))
    expires_at = now + CODE_LASTS
    db.add(PairingCode(hash=digest(code), account_id=account_id, expires_at=expires_at))
    return code, expires_at


def pair(
    db: Session, code: str, now: datetime, settings: Settings, *, old_token: str | None = None
) -> Pairing | None:
    """Turn a code into a token; the caller commits.

    Parameters
    ----------
    db : Session
        Database session.
    code : str
        As typed: case, spaces and hyphens do not matter.
    now : datetime
        Now.
    settings : Settings
        Say when the practice's day ends.
    old_token : str or None
        What the tablet held before. It keeps its tablet id, and the old token becomes
        write-only.

    Returns
    -------
    Pairing or None
        None if the code is unknown, was used or has ended, or if its account may not
        have a tablet any more.
    """
    typed = digest(code.upper().replace(" ", "").replace("-", ""))
    # One statement, so that of two tablets with the same code only one succeeds.
    account_id = db.scalar(
        update(PairingCode)
        .where(
            PairingCode.hash == typed,
            PairingCode.used_at.is_(None),
            PairingCode.expires_at > now,
            PairingCode.account_id.in_(_in_care()),
        )
        .values(used_at=now)
        .returning(PairingCode.account_id)
    )
    if account_id is None:
        return None
    tablet_id = _retire(db, old_token, now) or _new_tablet(db, now)
    secret, read_until = new_secret(), min(now + READ_LASTS, _end_of_day(now, settings))
    db.add(
        Token(
            hash=digest(secret),
            tablet_id=tablet_id,
            account_id=account_id,
            read_until=read_until,
            write_until=now + WRITE_LASTS,
        )
    )
    return Pairing(secret, tablet_id, account_id, read_until)


def _end_of_day(now: datetime, settings: Settings) -> datetime:
    midnight = datetime.combine(settings.day_of(now) + timedelta(days=1), time())
    zone = settings.zone
    return midnight.astimezone() if zone is None else midnight.replace(tzinfo=zone)


def _new_tablet(db: Session, now: datetime) -> str:
    tablet = Tablet(paired_at=now)
    db.add(tablet)
    db.flush()
    return tablet.id


def _retire(db: Session, old_token: str | None, now: datetime) -> str | None:
    old = token_of(db, old_token, now)
    if old is None:
        return None
    old.read_until = min(old.read_until, now)
    return old.tablet_id


def token_of(db: Session, secret: str | None, now: datetime) -> Token | None:
    """Return the token a tablet shows if it may still write, else None.

    It ends with its account, and when its account is no therapist's any more.
    """
    if not secret:
        return None
    return db.scalar(
        select(Token).where(
            Token.hash == digest(secret),
            Token.write_until > now,
            Token.revoked_at.is_(None),
            Token.account_id.in_(_in_care()),
        )
    )


def _in_care() -> Select[str]:
    """Return the accounts that tablets can belong to, as a query."""
    return (
        select(Account.id)
        .join(AccountRole, AccountRole.account_id == Account.id)
        .where(Account.closed_at.is_(None), AccountRole.role.in_(CARING_ROLES))
    )
