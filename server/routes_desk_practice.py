"""The owner's pages of tablets, settings, backups and changes of the practice."""

from typing import Annotated, Any

from fastapi import APIRouter, Form, Response
from starlette.responses import RedirectResponse

from server import routes_owner
from server.deps import Config, Db, Now, Owner
from server.page_owner_backup import backup_page
from server.page_owner_changes import changes_page
from server.page_owner_settings import rule_words, settings_page
from server.page_owner_tablets import tablets_page
from server.problems import Problem
from server.routes_audit import Before
from server.routes_desk_owner import HERE, NOT_SURE, Done, Tick, look, owner_page
from server.routes_owner import Value
from server.routes_tablets import revoke_tablet
from server.store_settings import BY_NAME

router = APIRouter(include_in_schema=False)

TABLETS, SETTINGS = "owner-tablets.html", "owner-settings.html"
MOST_DIGITS = 20
DONE = {
    "revoked": "The tablet is no longer paired. What waits on it stays there until it is paired "
    "again.",
    "chosen": "The setting was stored.",
}


@router.get("/owner/tablets")
def show_tablets(account: Owner, db: Db, now: Now, settings: Config, done: Done = "") -> Response:
    """Show every tablet: with whom it is paired, and on which day it was last heard."""
    look(db, now, account, "tablets")
    words = tablets_page(db, settings, now)
    return owner_page(TABLETS, account, "tablets", done=DONE.get(done), **words)


@router.post("/owner/tablets/{tablet_id}/revoke")
def revoke(
    tablet_id: str, account: Owner, db: Db, now: Now, settings: Config, sure: Tick = ""
) -> Response:
    """End every pairing of a tablet with a form."""
    if not sure:
        words: dict[str, Any] = tablets_page(db, settings, now)
        troubles = {tablet_id: NOT_SURE}
        return owner_page(TABLETS, account, "tablets", 422, troubles=troubles, **words)
    revoke_tablet(tablet_id, account, db, now)
    return RedirectResponse(f"{HERE}/tablets?done=revoked", 303)


@router.get("/owner/settings")
def show_settings(account: Owner, db: Db, now: Now, settings: Config, done: Done = "") -> Response:
    """Show the settings of the practice."""
    look(db, now, account, "settings")
    words = settings_page(db, settings)
    return owner_page(SETTINGS, account, "settings", done=DONE.get(done), **words)


@router.post("/owner/settings/{name}")
def choose_setting(
    name: str,
    account: Owner,
    db: Db,
    now: Now,
    settings: Config,
    value: Annotated[str, Form()] = "",
) -> Response:
    """Change a setting of the practice with a form."""
    known = BY_NAME.get(name)
    if known is None:
        raise Problem(404)
    text = value.strip()
    number = int(text) if text.isdecimal() and len(text) <= MOST_DIGITS else None
    if (text and number is None) or not known.kind.fits(number):
        words = settings_page(db, settings, {name: value})
        troubles = {name: rule_words(known)}
        return owner_page(SETTINGS, account, "settings", 422, troubles=troubles, **words)
    routes_owner.change_setting(name, Value(value=number), account, db, now)
    return RedirectResponse(f"{HERE}/settings?done=chosen", 303)


@router.get("/owner/backup")
def show_backup(account: Owner, db: Db, now: Now, settings: Config) -> Response:
    """Show when the last backup was made, and how much room there is."""
    look(db, now, account, "backups")
    return owner_page("owner-backup.html", account, "backup", **backup_page(db, settings, now))


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
    look(db, now, account, "audit")
    return owner_page("owner-changes.html", account, "changes", **words)
