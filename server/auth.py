"""Signing in: pass-phrases, the session cookie, and how often somebody may try."""

import hashlib
import secrets
import time
from datetime import datetime, timedelta
from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from limits import RateLimitItem, RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter
from sqlalchemy import select, update
from sqlalchemy.orm import Session
from starlette.responses import Response

from server.problems import Problem
from server.settings import Settings
from server.tables import Account, SignIn

SECRET_BYTES = 32
SIGN_IN_LASTS = timedelta(hours=12)
# Room for a few slips of the finger; a thousand guesses take more than three hours.
TRIES_PER_NAME = RateLimitItemPerMinute(10, 2, namespace="name")
# A whole practice may sit behind one address.
TRIES_PER_ADDRESS = RateLimitItemPerMinute(60, 1, namespace="address")
# Pairing codes have no name: everybody's guesses count together as well.
PAIRINGS_PER_ADDRESS = RateLimitItemPerMinute(10, 1, namespace="pairing")
PAIRINGS_IN_ALL = RateLimitItemPerMinute(300, 10, namespace="pairings")

_hasher = PasswordHasher()


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
    """Return the argon2id hash of a pass-phrase."""
    return _hasher.hash(passphrase)


@cache
def _nobodys_hash() -> str:
    return passphrase_hash(new_secret())


def passphrase_fits(account: Account | None, passphrase: str) -> bool:
    """Return whether a pass-phrase is the account's; takes as long when there is no account."""
    try:
        _hasher.verify(account.passphrase_hash if account else _nobodys_hash(), passphrase)
    except (VerificationError, InvalidHashError):
        return False
    return account is not None


def open_sign_in(db: Session, account: Account, now: datetime) -> str:
    """Note that an account has signed in; the caller commits.

    Returns
    -------
    str
        The secret for the browser's cookie; only its hash is kept.
    """
    secret = new_secret()
    db.add(SignIn(hash=digest(secret), account_id=account.id, expires_at=now + SIGN_IN_LASTS))
    return secret


def account_of_cookie(db: Session, secret: str | None, now: datetime) -> Account | None:
    """Return who is signed in with a cookie, or None."""
    if not secret:
        return None
    return db.scalar(
        select(Account)
        .join(SignIn, SignIn.account_id == Account.id)
        .where(SignIn.hash == digest(secret), SignIn.expires_at > now, SignIn.ended_at.is_(None))
    )


def end_sign_in(db: Session, secret: str | None, now: datetime) -> None:
    """End a sign-in; the caller commits. Nothing happens if there is none."""
    ending = update(SignIn).where(SignIn.hash == digest(secret or ""), SignIn.ended_at.is_(None))
    db.execute(ending.values(ended_at=now))


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
