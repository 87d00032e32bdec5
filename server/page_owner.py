"""What the owner's pages say of accounts and invitations. No child stands on any of them."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from server.dates import clock_words, day_words
from server.settings import Settings
from server.store_accounts import accounts, last_seen, open_accounts_with
from server.store_invitations import invitations, state_of
from server.tables import ROLES, Account, Invitation, random_id
from server.wording import capital, joined

NOT_KNOWN = "not known"
ROLE_ABOUT = {
    "assistant": "Plans and holds sessions with linked children, and drafts notes.",
    "supervisor": "The same, also with the children of the assistants supervised; sets goals and "
    "co-signs notes.",
    "researcher": "Takes de-identified tables away, nothing else.",
    "owner": "Looks after accounts, tablets and settings; sees no child.",
}
STATES = {
    "open": "open until {end}",
    "used": "used on {used}",
    "withdrawn": "withdrawn on {withdrawn}",
    "ended": "ended on {end}",
}
# Invitations that can no more be used are history; a few are enough to look back at.
MOST_PAST = 10


class RoleChoice(NamedTuple):
    """One role as a box to tick."""

    role: str
    word: str
    about: str
    ticked: bool


class Supervisor(NamedTuple):
    """One choice of who supervises."""

    id: str
    name: str
    chosen: bool


class AccountRow(NamedTuple):
    """One account in the list."""

    id: str
    name: str
    roles: str
    supervisor: str
    second_factor: str
    seen: str
    state: str


class InvitationRow(NamedTuple):
    """One invitation in the list; its link is known to nobody here."""

    id: str
    what: str
    made: str
    state: str
    is_open: bool


def moment_words(settings: Settings, moment: datetime | None) -> str:
    """Return a moment with day and time in the practice's time zone."""
    if moment is None:
        return NOT_KNOWN
    local = settings.local(moment)
    return f"{day_words(local.date())}, {clock_words(local)}"


def roles_words(roles: Iterable[str]) -> str:
    """Return roles in words, in the order of the table of roles.

    Examples
    --------
    >>> roles_words({"owner", "assistant"})
    'Assistant and owner'
    """
    held = set(roles)
    return capital(joined([role for role in ROLES if role in held]))


def role_choices(ticked: Iterable[str]) -> list[RoleChoice]:
    """Return every role as a box to tick."""
    held = set(ticked)
    return [RoleChoice(role, capital(role), ROLE_ABOUT[role], role in held) for role in ROLES]


def supervisor_choices(
    db: Session, chosen: str | None, *, but: str | None = None
) -> list[Supervisor]:
    """Return who may supervise: open supervisors, except one account."""
    return [
        Supervisor(one.id, one.name, one.id == chosen)
        for one in open_accounts_with(db, {"supervisor"})
        if one.id != but
    ]


def accounts_page(
    db: Session,
    settings: Settings,
    now: datetime,
    *,
    roles: Iterable[str] = (),
    supervisor_id: str | None = None,
) -> dict[str, Any]:
    """Return what the template of the list of accounts needs.

    Parameters
    ----------
    db : Session
        Database session.
    settings : Settings
        Say the practice's time zone.
    now : datetime
        Now.
    roles : iterable of str
        What is ticked in the form of an invitation.
    supervisor_id : str or None
        Who is chosen there.

    Returns
    -------
    dict
        Plain words and lists of them.
    """
    everybody, seen = accounts(db), last_seen(db)
    names = {one.id: one.name for one in everybody}
    rows = [_account_row(one, names, seen.get(one.id), settings) for one in everybody]
    made = [_invitation_row(one, names, settings, now) for one in invitations(db)]
    past = [one for one in made if not one.is_open]
    return {
        "fresh_id": random_id(),
        "accounts": [row for row in rows if row.state == "active"],
        "closed": [row for row in rows if row.state != "active"],
        "open_invitations": [one for one in made if one.is_open],
        "past_invitations": past[:MOST_PAST],
        "past_count": len(past),
        "roles": role_choices(roles),
        "supervisors": supervisor_choices(db, supervisor_id),
    }


def _account_row(
    one: Account, names: dict[str, str], seen_at: datetime | None, settings: Settings
) -> AccountRow:
    return AccountRow(
        one.id,
        one.name,
        roles_words(one.roles),
        names.get(one.supervisor_id or "", "nobody"),
        "off" if one.second_factor_since is None else "on",
        moment_words(settings, seen_at),
        "active" if one.closed_at is None else f"ended {moment_words(settings, one.closed_at)}",
    )


def _invitation_row(
    one: Invitation, names: dict[str, str], settings: Settings, now: datetime
) -> InvitationRow:
    state = state_of(one, now)
    return InvitationRow(
        one.id,
        invitation_words(one, names),
        f"{moment_words(settings, one.made_at)} by {names.get(one.made_by or '', 'the server')}",
        STATES[state].format(
            end=moment_words(settings, one.expires_at),
            used=moment_words(settings, one.used_at),
            withdrawn=moment_words(settings, one.withdrawn_at),
        ),
        state == "open",
    )


def invitation_words(one: Invitation, names: dict[str, str]) -> str:
    """Return what a link is for.

    Parameters
    ----------
    one : Invitation
        What is kept of the link.
    names : dict of str
        Names of accounts by id.
    """
    if one.purpose == "reset":
        return f"New pass-phrase for {names.get(one.account_id or '', 'an account')}"
    what = f"New account: {roles_words(one.roles).lower()}"
    if one.supervisor_id is not None:
        what += f", supervised by {names.get(one.supervisor_id, 'somebody')}"
    return what


def account_page(
    db: Session,
    whose: Account,
    settings: Settings,
    *,
    roles: Iterable[str] | None = None,
    supervisor_id: str | None = None,
) -> dict[str, Any]:
    """Return what the template of one account needs.

    Parameters
    ----------
    db : Session
        Database session.
    whose : Account
        Whose account.
    settings : Settings
        Say the practice's time zone.
    roles, supervisor_id
        What was typed in a form that was refused; `roles` None shows the account as it is.

    Returns
    -------
    dict
        Plain words and lists of them.
    """
    everybody = accounts(db)
    names = {one.id: one.name for one in everybody}
    is_typed = roles is not None
    below = [one.name for one in everybody if one.supervisor_id == whose.id and not one.closed_at]
    return {
        "row": _account_row(whose, names, last_seen(db).get(whose.id), settings),
        "is_closed": whose.closed_at is not None,
        "added": moment_words(settings, whose.added_at),
        "below": joined(below),
        "roles": role_choices(whose.roles if roles is None else roles),
        "supervisors": supervisor_choices(
            db, supervisor_id if is_typed else whose.supervisor_id, but=whose.id
        ),
    }
