"""The owner's pages of tablets, settings, backups and changes of the practice."""

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Form, Response
from starlette.responses import RedirectResponse

from server import audit, routes_owner
from server.deps import Config, Db, Now, Owner
from server.page_owner_backup import backup_page
from server.page_owner_changes import changes_page
from server.page_owner_settings import rule_words, settings_page
from server.page_owner_tablets import tablets_page
from server.problems import Problem
from server.routes_audit import Before
from server.routes_desk_owner import HERE, NOT_SURE, Done, Tick
from server.routes_owner import Value
from server.routes_pages import page
from server.routes_tablets import revoke_tablet
from server.settings import Settings
from server.store_settings import BY_NAME
from server.tables import Account

router = APIRouter(include_in_schema=False)

DONE = {
    "revoked": "The tablet is no longer paired. What waits on it stays there until it is paired "
    "again.",
    "chosen": "The setting was stored.",
}


def _look(db: Db, now: datetime, account: Account, kind: str) -> None:
    audit.note(db, now, account.id, "saw", kind)
    db.commit()


def _tablets(
    db: Db,
    account: Account,
    now: datetime,
    settings: Settings,
    status: int = 200,
    *,
    done: str | None = None,
    troubles: dict[str, str] | None = None,
) -> Response:
    words = tablets_page(db, settings, now)
    more = {"at": "tablets", "done": done, "troubles": troubles or {}}
    return page("owner-tablets.html", account, HERE, status, **words, **more)


def _settings(
    db: Db,
    account: Account,
    settings: Settings,
    status: int = 200,
    *,
    done: str | None = None,
    troubles: dict[str, str] | None = None,
    typed: dict[str, str] | None = None,
) -> Response:
    words = settings_page(db, settings, typed)
    more = {"at": "settings", "done": done, "troubles": troubles or {}}
    return page("owner-settings.html", account, HERE, status, **words, **more)


@router.get("/owner/tablets")
def show_tablets(account: Owner, db: Db, now: Now, settings: Config, done: Done = "") -> Response:
    """Show every tablet: with whom it is paired, and on which day it was last heard."""
    _look(db, now, account, "tablets")
    return _tablets(db, account, now, settings, done=DONE.get(done))


@router.post("/owner/tablets/{tablet_id}/revoke")
def revoke(
    tablet_id: str, account: Owner, db: Db, now: Now, settings: Config, sure: Tick = ""
) -> Response:
    """End every pairing of a tablet with a form."""
    if not sure:
        troubles = {tablet_id: NOT_SURE}
        return _tablets(db, account, now, settings, 422, troubles=troubles)
    revoke_tablet(tablet_id, account, db, now)
    return RedirectResponse(f"{HERE}/tablets?done=revoked", 303)


@router.get("/owner/settings")
def show_settings(account: Owner, db: Db, now: Now, settings: Config, done: Done = "") -> Response:
    """Show the settings of the practice."""
    _look(db, now, account, "settings")
    return _settings(db, account, settings, done=DONE.get(done))


@router.post("/owner/settings/{name}")
def choose_setting(
    name: str,
    account: Owner,
    db: Db,
    now: Now,
    settings: Config,
    value: Annotated[str, Form(max_length=20)] = "",
) -> Response:
    """Change a setting of the practice with a form."""
    known = BY_NAME.get(name)
    if known is None:
        raise Problem(404)
    text = value.strip()
    number = int(text) if text.isdecimal() else None
    if (text and number is None) or not known.kind.fits(number):
        wrong = {name: rule_words(known)}
        return _settings(db, account, settings, 422, troubles=wrong, typed={name: value})
    routes_owner.change_setting(name, Value(value=number), account, db, now)
    return RedirectResponse(f"{HERE}/settings?done=chosen", 303)


@router.get("/owner/backup")
def show_backup(account: Owner, db: Db, now: Now, settings: Config) -> Response:
    """Show when the last backup was made, and how much room there is."""
    _look(db, now, account, "backups")
    words = backup_page(db, settings, now)
    return page("owner-backup.html", account, HERE, at="backup", done=None, **words)


@router.get("/owner/changes")
def show_changes(
    account: Owner,
    db: Db,
    now: Now,
    settings: Config,
    before: Before = None,
) -> Response:
    """Show what was changed about accounts, tablets and settings."""
    words = changes_page(db, settings, before)
    _look(db, now, account, "audit")
    return page("owner-changes.html", account, HERE, at="changes", done=None, **words)
