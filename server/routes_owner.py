"""What an owner does: accounts, invitations, settings of the practice. No child is seen here."""

from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Response
from pydantic import Field

from server import audit, auth
from server.account_changes import Change, change_account, supervisor_fault
from server.dates import iso
from server.deps import Db, Now, Owner
from server.faults import Fault
from server.problems import Problem
from server.request_fields import Body, Uuid
from server.store_accounts import account_by_id, accounts, end_tablets, last_seen
from server.store_invitations import (
    invitation_by_id,
    invitations,
    invite,
    invite_reset,
    path_of,
    state_of,
    withdraw,
)
from server.store_settings import BY_NAME, KNOWN, KnownSetting, choose, setting
from server.tables import Account, Invitation

router = APIRouter(prefix="/api")

IS_CLOSED = "This account is closed. Open it again first."
MADE_BEFORE = (
    "An invitation was made with this form before, and its link was shown then. If that link is "
    "lost, withdraw the invitation and make another one."
)
WAS_USED = "This invitation was used already. Close the account instead."

Role = Literal["assistant", "supervisor", "researcher", "owner"]
Roles = Annotated[list[Role], Field(min_length=1, max_length=4)]
YesOrNo = Annotated[bool, Field(strict=True)]


class AccountChange(Body):
    """What is to be different about an account; a key that is not there changes nothing."""

    roles: Roles = Field(default_factory=list)
    supervisor_id: Uuid | None = None
    closed: YesOrNo = False

    def as_change(self) -> Change:
        """Return only what was given."""
        given = self.model_fields_set
        return Change(
            roles=set(self.roles) if "roles" in given else None,
            supervisor_id=self.supervisor_id,
            moves="supervisor_id" in given,
            closed=self.closed if "closed" in given else None,
        )


class NewInvitation(Body):
    """What the account that comes of it will be able to do."""

    # Made by the sender: an invitation that is sent twice is made once.
    id: Uuid | None = None
    roles: Roles
    supervisor_id: Uuid | None = None


class Value(Body):
    """A value of a setting; its kind depends on the setting."""

    value: Any


def _account_row(one: Account, seen_at: datetime | None) -> dict[str, object]:
    return {
        "account_id": one.id,
        "name": one.name,
        "roles": sorted(one.roles),
        "supervisor_id": one.supervisor_id,
        "added_at": iso(one.added_at),
        "closed_at": iso(one.closed_at),
        "second_factor": one.second_factor_since is not None,
        "seen_at": iso(seen_at),
    }


def _invitation_row(one: Invitation, now: datetime) -> dict[str, object]:
    return {
        "invitation_id": one.id,
        "purpose": one.purpose,
        "roles": one.roles,
        "supervisor_id": one.supervisor_id,
        "account_id": one.account_id,
        "made_by": one.made_by,
        "state": state_of(one, now),
        "made_at": iso(one.made_at),
        "expires_at": iso(one.expires_at),
        "used_at": iso(one.used_at),
        "withdrawn_at": iso(one.withdrawn_at),
    }


def _note_look(db: Db, now: datetime, account: Account, kind: str) -> None:
    audit.note(db, now, account.id, "saw", kind)
    db.commit()


def _found(db: Db, account_id: str) -> Account:
    account = account_by_id(db, account_id)
    if account is None:
        raise Problem(404)
    return account


@router.get("/accounts")
def list_accounts(account: Owner, db: Db, now: Now) -> dict[str, object]:
    """Return every account, closed ones too."""
    _note_look(db, now, account, "accounts")
    seen = last_seen(db)
    return {"accounts": [_account_row(one, seen.get(one.id)) for one in accounts(db)]}


@router.patch("/accounts/{account_id}")
def change(
    account_id: str, body: AccountChange, account: Owner, db: Db, now: Now
) -> dict[str, object]:
    """Change roles or supervisor of an account, close it, or open it again."""
    changed = change_account(db, account_id, body.as_change(), account, now)
    if changed is None:
        raise Problem(404)
    return _account_row(changed, last_seen(db).get(changed.id))


@router.post("/accounts/{account_id}/reset", status_code=201)
def reset(account_id: str, account: Owner, db: Db, now: Now) -> dict[str, object]:
    """Make a link to choose a new pass-phrase; using it takes the second factor off too."""
    whose = _found(db, account_id)
    if whose.closed_at is not None:
        raise Problem(409, IS_CLOSED)
    secret, invitation = invite_reset(db, whose.id, account.id, now)
    audit.note(db, now, account.id, "invited", "passphrase", whose.id)
    db.commit()
    return {"link": path_of(secret), **_invitation_row(invitation, now)}


@router.post("/accounts/{account_id}/sign-out", status_code=204)
def sign_out(account_id: str, account: Owner, db: Db, now: Now) -> Response:
    """Sign an account out of every browser, and take its day away from the tablets."""
    whose = _found(db, account_id)
    auth.end_sign_ins(db, whose.id, now)
    end_tablets(db, whose.id, now)
    audit.note(db, now, account.id, "signed_out_everywhere", "account", whose.id)
    audit.note(db, now, account.id, "revoked", "tablets", whose.id)
    db.commit()
    return Response(status_code=204)


@router.get("/invitations")
def list_invitations(account: Owner, db: Db, now: Now) -> dict[str, object]:
    """Return every invitation, the newest first; the links themselves are not kept."""
    _note_look(db, now, account, "invitations")
    return {"invitations": [_invitation_row(one, now) for one in invitations(db)]}


@router.post("/invitations", status_code=201)
def make_invitation(body: NewInvitation, account: Owner, db: Db, now: Now) -> dict[str, object]:
    """Invite somebody; the link is shown this once."""
    fault = supervisor_fault(db, body.supervisor_id)
    if fault is not None:
        raise Problem(422, errors=[fault])
    made = invite(db, set(body.roles), body.supervisor_id, account.id, now, own_id=body.id)
    if made is None:
        raise Problem(409, MADE_BEFORE)
    secret, invitation = made
    audit.note(db, now, account.id, "invited", "invitation", invitation.id)
    db.commit()
    return {"link": path_of(secret), **_invitation_row(invitation, now)}


@router.delete("/invitations/{invitation_id}", status_code=204)
def withdraw_invitation(invitation_id: str, account: Owner, db: Db, now: Now) -> Response:
    """Withdraw an invitation: its link is worth nothing afterwards."""
    if invitation_by_id(db, invitation_id) is None:
        raise Problem(404)
    if not withdraw(db, invitation_id, now):
        raise Problem(409, WAS_USED)
    audit.note(db, now, account.id, "withdrew", "invitation", invitation_id)
    db.commit()
    return Response(status_code=204)


def _setting_row(db: Db, known: KnownSetting) -> dict[str, object]:
    return {
        "name": known.name,
        "value": setting(db, known.name),
        "default": known.default,
        "help": known.help,
    }


@router.get("/settings")
def list_settings(account: Owner, db: Db, now: Now) -> dict[str, object]:
    """Return the settings of the practice."""
    _note_look(db, now, account, "settings")
    return {"settings": [_setting_row(db, known) for known in KNOWN]}


@router.put("/settings/{name}")
def change_setting(name: str, body: Value, account: Owner, db: Db, now: Now) -> dict[str, object]:
    """Change a setting of the practice."""
    known = BY_NAME.get(name)
    if known is None:
        raise Problem(404)
    if not known.kind.fits(body.value):
        raise Problem(422, errors=[Fault("/value", known.kind.sentence)])
    if body.value != setting(db, name):
        choose(db, name, body.value, account.id, now)
        audit.note(db, now, account.id, "changed", f"setting.{name}")
        db.commit()
    return _setting_row(db, known)
