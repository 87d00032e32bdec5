"""Signing in: pass-phrases, the session cookie, and how often somebody may try."""

import hashlib
import logging
import secrets
import time
from datetime import datetime, timedelta
from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from limits import RateLimitItem, RateLimitItemPerHour, RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter
from sqlalchemy import select, update
from sqlalchemy.exc import OperationalError
from sqlalchemy.orm import Session
from starlette.responses import Response

from server.logs import LOGGER, told
from server.passphrases import normalised
from server.problems import Problem
from server.settings import Settings
from server.store_settings import setting
from server.tables import Account, SignIn

SECRET_BYTES = 32
SIGN_IN_LASTS = timedelta(hours=12)
# How exactly the last use of a sign-in is known: every look at a page need not write.
SEEN_EVERY = timedelta(minutes=1)
# Room for a few slips of the finger; a thousand guesses take more than three hours.
TRIES_PER_NAME = RateLimitItemPerMinute(10, 2, namespace="name")
# A whole practice may sit behind one address.
TRIES_PER_ADDRESS = RateLimitItemPerMinute(60, 1, namespace="address")
# Pairing codes have no name: everybody's guesses count together as well.
PAIRINGS_PER_ADDRESS = RateLimitItemPerMinute(10, 1, namespace="pairing")
PAIRINGS_IN_ALL = RateLimitItemPerMinute(300, 10, namespace="pairings")
# Links of 256 bits cannot be guessed; this bounds the work of hashing and of scoring.
JOINS_PER_ADDRESS = RateLimitItemPerMinute(10, 1, namespace="join")
JOINS_IN_ALL = RateLimitItemPerMinute(300, 10, namespace="joins")
# Six digits are few: somebody with the pass-phrase would need a year at this rate.
CODES_PER_NAME = RateLimitItemPerHour(20, 1, namespace="code")

log = logging.getLogger(LOGGER)

# Argon2id with the parameters of RFC 9106 for machines without much memory.
HASHER = PasswordHasher()


class Throttle:
    """Counts tries in memory, for one server process."""

    def __init__(self) -> None:
        self._limiter = MovingWindowRateLimiter(MemoryStorage())

    def count(self, limit: RateLimitItem, who: str = "") -> None:
        """Count one try, or refuse it.

        Raises
        ------
        Problem
            429, with the time to wait.
        """
        key = digest(who)
        if not self._limiter.hit(limit, key):
            wait_s = self._limiter.get_window_stats(limit, key).reset_time
            seconds = max(1, round(wait_s - time.time()))
            raise Problem(429, headers={"Retry-After": str(seconds)})

    def forget(self, limit: RateLimitItem, who: str) -> None:
        """Forget the tries of somebody who has succeeded."""
        self._limiter.clear(limit, digest(who))


def digest(secret: str) -> str:
    """Return the SHA-256 of a secret, in hex: what is kept in its place."""
    return hashlib.sha256(secret.encode()).hexdigest()


def new_secret() -> str:
    """Return 256 random bits as text."""
    return secrets.token_urlsafe(SECRET_BYTES)


def passphrase_hash(passphrase: str) -> str:
    """Return the argon2id hash of a pass-phrase, in the one form of its characters."""
    return HASHER.hash(normalised(passphrase))


@cache
def _nobodys_hash() -> str:
    return passphrase_hash(new_secret())


def passphrase_fits(account: Account | None, passphrase: str) -> bool:
    """Return whether a pass-phrase is the account's; takes as long when there is no account."""
    kept = account.passphrase_hash if account else _nobodys_hash()
    try:
        HASHER.verify(kept, normalised(passphrase))
    except (VerificationError, InvalidHashError):
        return False
    return account is not None


def is_outdated(kept: str) -> bool:
    """Return whether a hash was made with other parameters than today's."""
    return HASHER.check_needs_rehash(kept)


def open_sign_in(db: Session, account: Account, now: datetime) -> str:
    """Note that an account has signed in; the caller commits.

    Returns
    -------
    str
        The secret for the browser's cookie; only its hash is kept.
    """
    secret = new_secret()
    db.add(
        SignIn(
            hash=digest(secret),
            account_id=account.id,
            started_at=now,
            seen_at=now,
            expires_at=now + SIGN_IN_LASTS,
        )
    )
    db.flush()
    return secret


def account_of_cookie(db: Session, secret: str | None, now: datetime) -> Account | None:
    """Return who is signed in with a cookie, or None.

    A sign-in ends twelve hours after it began, and earlier once it was not used for the
    practice's `idle_minutes`. An account that was closed is signed in nowhere.
    """
    if not secret:
        return None
    found = db.execute(
        select(SignIn.account_id, SignIn.expires_at, SignIn.seen_at)
        .join(Account, Account.id == SignIn.account_id)
        .where(SignIn.hash == digest(secret), SignIn.ended_at.is_(None))
        .where(Account.closed_at.is_(None))
    ).first()
    if found is None or found.expires_at <= now:
        return None
    # Those of an older release have no time of their last use.
    seen_at = found.seen_at or found.expires_at - SIGN_IN_LASTS
    if now - seen_at >= timedelta(minutes=setting(db, "idle_minutes")):
        return None
    if now - seen_at >= SEEN_EVERY:
        _note_use(db, digest(secret), now)
    return db.get(Account, found.account_id)


def _note_use(db: Session, sign_in: str, now: datetime) -> None:
    """Note that a sign-in is in use; commits. Reading goes on if the database is busy."""
    connection = db.connection()
    patience_ms = connection.exec_driver_sql("PRAGMA busy_timeout").scalar_one()
    connection.exec_driver_sql("PRAGMA busy_timeout = 0")
    try:
        try:
            connection.execute(update(SignIn).where(SignIn.hash == sign_in).values(seen_at=now))
        finally:
            connection.exec_driver_sql(f"PRAGMA busy_timeout = {patience_ms}")
        db.commit()
    except OperationalError as error:
        log.warning("the last use of a sign-in was not noted", extra=told(error))
        db.rollback()


def end_sign_in(db: Session, secret: str | None, now: datetime) -> None:
    """End a sign-in; the caller commits. Nothing happens if there is none."""
    ending = update(SignIn).where(SignIn.hash == digest(secret or ""), SignIn.ended_at.is_(None))
    db.execute(ending.values(ended_at=now))


def end_sign_ins(db: Session, account_id: str, now: datetime, *, but: str | None = None) -> None:
    """End every sign-in of an account; the caller commits.

    Parameters
    ----------
    db : Session
        Database session.
    account_id : str
        Whose.
    now : datetime
        Now.
    but : str or None
        Secret of the one cookie that stays.
    """
    ending = update(SignIn).where(SignIn.account_id == account_id, SignIn.ended_at.is_(None))
    db.execute(ending.where(SignIn.hash != digest(but or "")).values(ended_at=now))


def cookie_name(settings: Settings) -> str:
    """Return the name of the cookie; over https the browser itself ties it to this host."""
    return "__Host-linnet" if settings.secure_cookies else "linnet"


def set_cookie(response: Response, settings: Settings, secret: str) -> None:
    """Give the browser its sign-in."""
    response.set_cookie(
        cookie_name(settings),
        secret,
        max_age=int(SIGN_IN_LASTS.total_seconds()),
        path="/",
        secure=settings.secure_cookies,
        httponly=True,
        samesite="strict",
    )


def drop_cookie(response: Response, settings: Settings) -> None:
    """Take the sign-in away from the browser."""
    response.delete_cookie(
        cookie_name(settings),
        path="/",
        secure=settings.secure_cookies,
        httponly=True,
        samesite="strict",
    )
