"""What routes ask for: the database, who asks, and the one check of who may see what."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated

from fastapi import Depends, Request
from sqlalchemy.orm import Session

from server import audit
from server.auth import Throttle, account_of_cookie, cookie_name
from server.pairing import token_of
from server.problems import Problem
from server.settings import Settings
from server.store_accounts import account_by_id
from server.store_children import TODAY, child_of
from server.store_sessions import session_by_id
from server.store_trials import trial_by_id
from server.tables import Account, Child, SessionRow, Token, TrialRow

BEARER = "bearer "
PAIR_AGAIN = "This tablet is not paired any more. Ask an adult to pair it again."
THERAPIST_ROLES = frozenset({"assistant", "supervisor"})


class NotSignedIn(Exception):
    """Raised when nobody is signed in: 401 under ``/api``, else back to the first page."""


def get_now(request: Request) -> datetime:
    """Return the application's clock, read once a request."""
    now: datetime = request.app.state.clock()
    return now


def get_settings(request: Request) -> Settings:
    """Return the settings."""
    settings: Settings = request.app.state.settings
    return settings


def get_db(
    request: Request,
    now: Annotated[datetime, Depends(get_now)],
    settings: Annotated[Settings, Depends(get_settings)],
) -> Iterator[Session]:
    """Yield a database session that knows the day; what was not committed is undone."""
    with request.app.state.sessions() as db:
        db.info[TODAY] = settings.day_of(now)
        yield db


def get_throttle(request: Request) -> Throttle:
    """Return the counter of tries."""
    throttle: Throttle = request.app.state.throttle
    return throttle


def client_address(request: Request) -> str:
    """Return the address a request comes from."""
    return request.client.host if request.client else ""


Db = Annotated[Session, Depends(get_db)]
Now = Annotated[datetime, Depends(get_now)]
Config = Annotated[Settings, Depends(get_settings)]
Tries = Annotated[Throttle, Depends(get_throttle)]
Address = Annotated[str, Depends(client_address)]


def cookie_of(request: Request, settings: Config) -> str | None:
    """Return the secret in the sign-in cookie."""
    return request.cookies.get(cookie_name(settings))


Cookie = Annotated[str | None, Depends(cookie_of)]


def maybe_signed_in(db: Db, now: Now, cookie: Cookie) -> Account | None:
    """Return who is signed in, or None."""
    return account_of_cookie(db, cookie, now)


MaybeSignedIn = Annotated[Account | None, Depends(maybe_signed_in)]


def signed_in(account: MaybeSignedIn) -> Account:
    """Return who is signed in, or refuse."""
    if account is None:
        raise NotSignedIn
    return account


SignedIn = Annotated[Account, Depends(signed_in)]


def _having(roles: frozenset[str]) -> Callable[[Account], Account]:
    def check(account: SignedIn) -> Account:
        if not account.roles & roles:
            raise Problem(403)
        return account

    return check


Therapist = Annotated[Account, Depends(_having(THERAPIST_ROLES))]
Supervisor = Annotated[Account, Depends(_having(frozenset({"supervisor"})))]
Researcher = Annotated[Account, Depends(_having(frozenset({"researcher"})))]
Owner = Annotated[Account, Depends(_having(frozenset({"owner"})))]


def bearer_of(request: Request) -> str | None:
    """Return the token in the Authorization header, or None."""
    header = request.headers.get("authorization", "")
    return header[len(BEARER) :].strip() if header.lower().startswith(BEARER) else None


Bearer = Annotated[str | None, Depends(bearer_of)]


def writing_tablet(db: Db, now: Now, bearer: Bearer) -> Token:
    """Return the token of a tablet that may still send, or refuse."""
    token = token_of(db, bearer, now)
    if token is None:
        raise Problem(401, PAIR_AGAIN)
    return token


CurrentTablet = Annotated[Token, Depends(writing_tablet)]


def reading_tablet(token: CurrentTablet, now: Now) -> Token:
    """Return the token of a tablet whose day is not over, or refuse."""
    if token.read_until <= now:
        raise Problem(401, PAIR_AGAIN)
    return token


ReadingTablet = Annotated[Token, Depends(reading_tablet)]


@dataclass(frozen=True)
class Sender:
    """Who sends a trial or a mark: a paired tablet, or a therapist at the desk."""

    account: Account
    token: Token | None

    def is_late(self, now: datetime, session_day: date, today: date) -> bool:
        """Return whether the day of the session was over, or that of the tablet."""
        # A tablet paired again sends what is left of an earlier day with its new token.
        return self.token is not None and (self.token.read_until <= now or session_day < today)


def tablet_sender(db: Db, token: CurrentTablet) -> Sender:
    """Return a tablet that sends, with whose day it was paired, or refuse."""
    owner = account_by_id(db, token.account_id)
    if owner is None:
        raise Problem(401, PAIR_AGAIN)
    return Sender(owner, token)


TabletSender = Annotated[Sender, Depends(tablet_sender)]


def sender(db: Db, now: Now, bearer: Bearer, account: MaybeSignedIn) -> Sender:
    """Return who sends: the token goes first where there are both."""
    if bearer is not None:
        return tablet_sender(db, writing_tablet(db, now, bearer))
    therapist = signed_in(account)
    if not therapist.roles & THERAPIST_ROLES:
        raise Problem(403)
    return Sender(therapist, None)


CurrentSender = Annotated[Sender, Depends(sender)]


def linked_child(child_id: str, account: Therapist, db: Db, now: Now) -> Child:
    """Return a child the therapist is linked to; anything else does not exist."""
    child = child_of(db, account, child_id)
    if child is None:
        raise Problem(404)
    audit.note_look(db, now, account.id, "child", child.id, child_id=child.id)
    return child


@dataclass(frozen=True)
class SeenSession:
    """A session that may be seen, with its child."""

    session: SessionRow
    child: Child


def seen_session(db: Session, account: Account, session_id: str) -> SeenSession:
    """Return a session of a child the account is linked to, or refuse with 404."""
    session = session_by_id(db, session_id)
    child = None if session is None else child_of(db, account, session.child_id)
    if session is None or child is None:
        raise Problem(404)
    return SeenSession(session, child)


def linked_session(session_id: str, account: Therapist, db: Db, now: Now) -> SeenSession:
    """Return a session of a child the therapist is linked to; others do not exist."""
    seen = seen_session(db, account, session_id)
    audit.note_look(db, now, account.id, "session", session_id, child_id=seen.child.id)
    return seen


@dataclass(frozen=True)
class SeenTrial:
    """A trial that may be seen, with its session and child."""

    trial: TrialRow
    session: SessionRow
    child: Child


def seen_trial(db: Session, account: Account, trial_id: str) -> SeenTrial:
    """Return a trial of a child the account is linked to, or refuse with 404."""
    trial = trial_by_id(db, trial_id)
    if trial is None:
        raise Problem(404)
    seen = seen_session(db, account, trial.session_id)
    return SeenTrial(trial, seen.session, seen.child)


def linked_trial(trial_id: str, account: Therapist, db: Db, now: Now) -> SeenTrial:
    """Return a trial of a child the therapist is linked to; anything else does not exist."""
    seen = seen_trial(db, account, trial_id)
    audit.note_look(db, now, account.id, seen.trial.kind, trial_id, child_id=seen.child.id)
    return seen


LinkedChild = Annotated[Child, Depends(linked_child)]
LinkedSession = Annotated[SeenSession, Depends(linked_session)]
LinkedTrial = Annotated[SeenTrial, Depends(linked_trial)]
