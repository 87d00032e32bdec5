"""What the owner's page of tablets says: which there are, and when each was paired or measured."""

from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from server.dates import day_words
from server.pairing import WRITE_LASTS
from server.settings import Settings
from server.store_changes import account_names
from server.store_tablets import KnownTablet, known_tablets
from server.wording import joined


class TabletRow(NamedTuple):
    """One tablet; `heard` is the day it was last paired or measured: trials are not told."""

    id: str
    name: str
    paired: str
    heard: str
    pairings: str
    is_paired: bool


def tablets_page(db: Session, settings: Settings, now: datetime) -> dict[str, Any]:
    """Return what the template of the tablets needs.

    Parameters
    ----------
    db : Session
        Database session.
    settings : Settings
        Say the practice's time zone.
    now : datetime
        Now.

    Returns
    -------
    dict
        Plain words and lists of them; those that are paired first.
    """
    names = account_names(db)
    rows = [
        _tablet_row(one, names, settings) for one in known_tablets(db, None, now, with_trials=False)
    ]
    return {
        "tablets": [row for row in rows if row.is_paired],
        "ended": [row for row in rows if not row.is_paired],
    }


def tablet_name(label: str | None, paired_at: datetime, settings: Settings) -> str:
    """Return how a tablet is called: its label, else the day it was first paired."""
    return label or f"Tablet first paired on {_day(settings, paired_at)}"


def _tablet_row(one: KnownTablet, names: dict[str, str], settings: Settings) -> TabletRow:
    tablet = one.tablet
    in_force = [token for token in one.tokens if token.revoked_at is None]
    with_whom = sorted({names.get(token.account_id, "somebody") for token in in_force})
    calibrated_at = None if one.calibration is None else one.calibration.received_at
    # A token says when it was made by when it ends.
    paired_again = [token.write_until - WRITE_LASTS for token in one.tokens]
    heard = [tablet.paired_at, calibrated_at, *paired_again]
    return TabletRow(
        tablet.id,
        tablet_name(tablet.label, tablet.paired_at, settings),
        _day(settings, tablet.paired_at),
        _day(settings, max(at for at in heard if at is not None)),
        joined(with_whom) or "nobody",
        bool(in_force),
    )


def _day(settings: Settings, moment: datetime) -> str:
    return day_words(settings.day_of(moment))
