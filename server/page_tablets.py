"""What the page of tablets says: which are paired, when they were heard, what a millimetre is."""

from collections.abc import Mapping, Sequence
from datetime import datetime, time, timedelta
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from server.dates import clock_words, day_words
from server.numbers import NO_BREAK, count_word, trimmed
from server.settings import Settings
from server.store_children import children_of
from server.store_counts import sessions_on
from server.store_heard import fetched_at, latest_pairings
from server.store_tablets import KnownTablet, known_tablets
from server.store_today import newest_plans
from server.tables import Account, Calibration, Tablet, Token
from server.wording import capital, plural

WEEK = timedelta(days=7)
NO_NAME = "Tablet without a name"
NO_SCALE = "Not measured on this tablet yet. Until then its trials have no lengths in millimetres."
OLD_SCALE = "The tablet asks for a check each week; a check that found it true stays there."


class Moments(NamedTuple):
    """Moments in words, as seen from now."""

    settings: Settings
    now: datetime

    def words(self, moment: datetime) -> str:
        """Return a moment: today without its day."""
        day, clock = self.settings.day_of(moment), clock_words(self.settings.local(moment))
        if day == self.settings.day_of(self.now):
            return f"today at {clock}"
        return f"{day_words(day)} at {clock}"

    def until(self, moment: datetime) -> str:
        """Return until when something lasts: the end of today is midnight."""
        local, today = self.settings.local(moment), self.settings.day_of(self.now)
        if local.date() == today:
            return f"{clock_words(local)} today"
        if local.date() - today == timedelta(days=1) and local.time() == time():
            return "midnight"
        return day_words(local.date())


class TabletBlock(NamedTuple):
    """One tablet as its page tells of it.

    `label` is empty without a name. `current` holds until it was revoked or has ended, and
    `reads` as long as it may fetch the plans of the day.
    """

    id: str
    name: str
    label: str
    state: str
    heard: str
    trial: str
    scale: str
    current: bool
    reads: bool


def tablets_page(
    db: Session, account: Account, settings: Settings, now: datetime
) -> dict[str, Any]:
    """Return what the template of the tablets needs.

    Parameters
    ----------
    db : Session
        Database session.
    account : Account
        Whose tablets: those that it has paired.
    settings : Settings
        Say the practice's time zone.
    now : datetime
        Now.

    Returns
    -------
    dict
        Plain words. Of a queue on a tablet the server knows nothing, and the page says so.
    """
    known = known_tablets(db, account.id, now, with_trials=True)
    paired = latest_pairings(db, account.id, [one.tablet.id for one in known])
    moments = Moments(settings, now)
    blocks = [_block(one, paired.get(one.tablet.id), moments) for one in known]
    # Those that may show children now come first; the rest as they were first paired.
    blocks.sort(key=lambda one: not one.reads)
    return {
        "current": [one for one in blocks if one.current],
        "ended": [one for one in blocks if not one.current],
        "plans": _plans(db, account, moments),
    }


def tablet_block(
    db: Session, account: Account, tablet: Tablet, settings: Settings, now: datetime
) -> TabletBlock:
    """Return what is said of one tablet that an account has paired."""
    (known,) = known_tablets(db, account.id, now, with_trials=True, tablet_ids=[tablet.id])
    paired = latest_pairings(db, account.id, [tablet.id])
    return _block(known, paired.get(tablet.id), Moments(settings, now))


def _block(known: KnownTablet, paired_at: datetime | None, moments: Moments) -> TabletBlock:
    tablet, last, scale = known.tablet, known.last_trial_at, known.calibration
    live = [token for token in known.tokens if token.revoked_at is None]
    paired_at = paired_at or tablet.paired_at
    return TabletBlock(
        id=tablet.id,
        name=tablet.label or NO_NAME,
        label=tablet.label or "",
        state=_state(known.tokens, live, moments),
        heard=_heard(paired_at, last, scale, moments),
        trial=moments.words(last) if last else "none yet",
        scale=_scale(scale, moments),
        current=bool(live),
        reads=any(token.read_until > moments.now for token in live),
    )


def _state(tokens: Sequence[Token], live: Sequence[Token], moments: Moments) -> str:
    reading = [token.read_until for token in live if token.read_until > moments.now]
    if reading:
        return f"Paired with your day until {moments.until(max(reading))}."
    if live:
        last = moments.until(max(token.write_until for token in live))
        return (
            "Its day is over: it shows no children until it is paired again. "
            f"It can still send what waits on it, until {last}."
        )
    revoked = [token.revoked_at for token in tokens if token.revoked_at is not None]
    if revoked:
        return (
            f"Pairing ended, {moments.words(max(revoked))}. It can neither fetch plans nor send. "
            "What waits on it is kept there, and goes out once the tablet is paired again."
        )
    return (
        "Not paired any more: it can neither fetch plans nor send. "
        "What waits on it is kept there, and goes out once the tablet is paired again."
    )


def _heard(
    paired_at: datetime, last: datetime | None, scale: Calibration | None, moments: Moments
) -> str:
    heard: Mapping[str, datetime | None] = {
        "a trial arrived": last,
        "its scale arrived": None if scale is None else scale.received_at,
        "it was paired": paired_at,
    }
    what, at = max(
        ((what, at) for what, at in heard.items() if at is not None), key=lambda pair: pair[1]
    )
    return f"{moments.words(at)}, when {what}"


def _scale(scale: Calibration | None, moments: Moments) -> str:
    if scale is None:
        return NO_SCALE
    # The tablet's clock may be wrong; it cannot have measured after the server was told.
    at = min(scale.made_at or scale.received_at, scale.received_at)
    said = f"Measured {moments.words(at)}: {trimmed(scale.px_per_mm, 2)}{NO_BREAK}pixels per mm"
    width_mm, height_mm = scale.screen_width_mm, scale.screen_height_mm
    if width_mm is not None and height_mm is not None:
        said += f", screen {trimmed(width_mm, 0)} × {trimmed(height_mm, 0)}{NO_BREAK}mm"
    return f"{said}. {OLD_SCALE}" if moments.now - at > WEEK else f"{said}."


def _plans(db: Session, account: Account, moments: Moments) -> str:
    """Say how many of today's plans a tablet of the account has taken as they are now."""
    ids = [child.id for child in children_of(db, account)]
    today = sessions_on(db, ids, moments.settings.day_of(moments.now))
    mine = [one for sessions in today.values() for one in sessions if one.closed_at is None]
    plans = newest_plans(db, [one.id for one in mine])
    mine = [one for one in mine if one.id in plans]
    if not mine:
        return "No plan for today yet. A tablet shows a child as soon as there is one."
    taken = fetched_at(db, account.id, [one.plan_id for one in mine])
    fresh = [
        taken[one.plan_id]
        for one in mine
        if one.plan_id in taken and _is_fresh(taken[one.plan_id], plans[one.id].at)
    ]
    count = len(mine)
    said = f"{capital(count_word(count))} {plural('plan', count)} for today"
    if not fresh:
        return f"{said}. No tablet of yours has taken {'it' if count == 1 else 'them'} yet."
    last = f"the last {moments.words(max(fresh))}"
    if len(fresh) == count:
        return f"{said}, taken by a tablet of yours, {last}."
    left = count_word(count - len(fresh))
    return (
        f"{said}. A tablet of yours has taken {count_word(len(fresh))}, {last}; {left} not yet, "
        "or not since it changed: choose “Fetch plans” on the tablet."
    )


def _is_fresh(taken_at: datetime, kept_at: datetime | None) -> bool:
    return kept_at is None or taken_at >= kept_at
