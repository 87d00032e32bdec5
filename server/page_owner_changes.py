"""What the owner's page of changes says: lines of the audit with names in the place of ids."""

from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from server.page_owner import invitation_words, moment_words
from server.page_owner_settings import WORDS, value_words
from server.page_owner_tablets import tablet_name
from server.settings import Settings
from server.store_audit import Line
from server.store_changes import (
    SETTING,
    account_names,
    changes_of_practice,
    invitations_by_id,
    tablets_by_id,
    values_chosen,
)
from server.tables import AuditRow

LINES = 50
NOBODY_SIGNED_IN = "the command line"
DEEDS = {
    ("account", "joined"): "Made the account",
    ("account", "changed"): "Changed roles or supervisor",
    ("account", "closed"): "Ended the account",
    ("account", "reopened"): "Opened the account again",
    ("account", "signed_out_everywhere"): "Signed the account out everywhere",
    ("passphrase", "invited"): "Made a link for a new pass-phrase",
    ("passphrase", "reset"): "Chose a new pass-phrase with a link",
    ("passphrase", "changed"): "Changed the pass-phrase",
    ("second_factor", "set_up"): "Began to set up a second factor",
    ("second_factor", "turned_on"): "Turned the second factor on",
    ("second_factor", "turned_off"): "Turned the second factor off",
    ("invitation", "invited"): "Made an invitation",
    ("invitation", "withdrew"): "Withdrew an invitation",
    ("tablet", "paired"): "Paired a tablet",
    ("tablet", "named"): "Named a tablet",
    ("tablet", "revoked"): "Ended the pairings of a tablet",
    ("tablets", "revoked"): "Ended the tablets of the account",
    ("database", "backed_up"): "Made a backup",
    ("database", "restored"): "Put a backup in the place of the database",
}


class ChangeRow(NamedTuple):
    """One line: when, who, what was done, and about whom or what."""

    at: str
    who: str
    deed: str
    about: str


class _Names(NamedTuple):
    accounts: dict[str, str]
    tablets: dict[str, str]
    invitations: dict[str, str]
    settings: dict[tuple[str, Any], str]


def changes_page(db: Session, settings: Settings, before: int | None) -> dict[str, Any]:
    """Return what the template of the changes needs.

    Parameters
    ----------
    db : Session
        Database session.
    settings : Settings
        Say the practice's time zone.
    before : int or None
        Number of the line that the page starts below; None for the newest.

    Returns
    -------
    dict
        Lines in words, and where the next page starts.
    """
    lines = changes_of_practice(db, before, LINES + 1)
    shown = lines[:LINES]
    names = _names(db, settings, [line for line, _ in shown])
    return {
        "rows": [_row(one, names, settings) for one in shown],
        "older": shown[-1][0].number if len(lines) > LINES else None,
        "is_first": before is None,
    }


def _names(db: Session, settings: Settings, lines: list[AuditRow]) -> _Names:
    ids = {
        kind: {one.object_id or "" for one in lines if one.kind == kind}
        for kind in ("tablet", "invitation")
    }
    names = account_names(db)
    return _Names(
        names,
        {
            one.id: tablet_name(one.label, one.paired_at, settings)
            for one in tablets_by_id(db, ids["tablet"]).values()
        },
        {
            one.id: invitation_words(one, names)
            for one in invitations_by_id(db, ids["invitation"]).values()
        },
        {
            (f"{SETTING}{name}", at): value_words(name, value)
            for (name, at), value in values_chosen(db, {one.at for one in lines}).items()
            if name in WORDS
        },
    )


def _row(one: Line, names: _Names, settings: Settings) -> ChangeRow:
    line, who = one
    by = who or (NOBODY_SIGNED_IN if line.account_id is None else "an account")
    return ChangeRow(moment_words(settings, line.at), by, _deed(line), _about(line, names))


def _deed(line: AuditRow) -> str:
    if line.kind.startswith(SETTING):
        return "Changed a setting"
    return DEEDS[line.kind, line.verb]


def _about(line: AuditRow, names: _Names) -> str:
    known = line.object_id or ""
    match line.kind:
        case "tablet":
            return names.tablets.get(known, "")
        case "invitation":
            return names.invitations.get(known, "")
        case "database":
            return ""
        case "account" | "passphrase" | "second_factor" | "tablets":
            return names.accounts.get(known, "")
    words = WORDS.get(line.kind.removeprefix(SETTING))
    value = names.settings.get((line.kind, line.at))
    return "" if words is None or value is None else f"{words.title}: {value}"
