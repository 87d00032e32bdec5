"""Tablets that were paired, their tokens and their calibrations."""

from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy import ColumnElement, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from server.problems import Problem
from server.tables import Calibration, Tablet, Token, TrialRow

OTHER_CALIBRATION = "Another calibration is already stored under this id."
SAME_CONTENT = (
    "tablet_id",
    "px_per_mm",
    "ratio",
    "screen_width_mm",
    "screen_height_mm",
    "made_at",
)


@dataclass(frozen=True)
class KnownTablet:
    """A tablet as somebody may see it.

    Attributes
    ----------
    tablet : Tablet
        Its id and label.
    tokens : list of Token
        Those that may be seen and have not ended by themselves, the longest-lasting first.
    calibration : Calibration or None
        The one that arrived last.
    last_trial_at : datetime or None
        When its newest trial arrived; None if there is none, or if it may not be seen.
    """

    tablet: Tablet
    tokens: list[Token] = field(default_factory=list)
    calibration: Calibration | None = None
    last_trial_at: datetime | None = None


def _paired_by(account_id: str | None) -> ColumnElement[bool]:
    """Return the condition that an account has paired a tablet; None stands for all tablets."""
    tokens = select(Token.tablet_id)
    if account_id is not None:
        tokens = tokens.where(Token.account_id == account_id)
    return Tablet.id.in_(tokens)


def tablet_of(db: Session, tablet_id: str, account_id: str | None) -> Tablet | None:
    """Return a tablet if an account has paired it, else None.

    Parameters
    ----------
    db : Session
        Database session.
    tablet_id : str
        Which tablet.
    account_id : str or None
        Whose; None for anybody's.

    Returns
    -------
    Tablet or None
        The tablet.
    """
    return db.scalar(select(Tablet).where(Tablet.id == tablet_id, _paired_by(account_id)))


def known_tablets(
    db: Session,
    account_id: str | None,
    now: datetime,
    *,
    with_trials: bool,
    tablet_ids: Collection[str] | None = None,
) -> list[KnownTablet]:
    """Return tablets with their tokens and newest calibrations, in the order of pairing.

    Parameters
    ----------
    db : Session
        Database session.
    account_id : str or None
        Only tablets that this account has paired, and only its tokens; None for all.
    now : datetime
        Tokens that could not even write any more are left out.
    with_trials : bool
        Whether to tell when the newest trial arrived.
    tablet_ids : collection of str or None
        Only these; None for all.

    Returns
    -------
    list of KnownTablet
        In four queries, however many tablets there are.
    """
    query = select(Tablet).where(_paired_by(account_id)).order_by(Tablet.paired_at, Tablet.id)
    if tablet_ids is not None:
        query = query.where(Tablet.id.in_(tablet_ids))
    tablets = list(db.scalars(query))
    ids = [tablet.id for tablet in tablets]
    tokens = _tokens_of(db, ids, account_id, now)
    latest = {one.tablet_id: one for one in calibrations_of(db, ids)}
    arrived = _last_trials(db, ids) if with_trials else {}
    return [
        KnownTablet(
            tablet, tokens.get(tablet.id, []), latest.get(tablet.id), arrived.get(tablet.id)
        )
        for tablet in tablets
    ]


def _tokens_of(
    db: Session, tablet_ids: list[str], account_id: str | None, now: datetime
) -> dict[str, list[Token]]:
    query = select(Token).where(Token.tablet_id.in_(tablet_ids), Token.write_until > now)
    if account_id is not None:
        query = query.where(Token.account_id == account_id)
    found: dict[str, list[Token]] = {}
    for token in db.scalars(query.order_by(Token.write_until.desc(), Token.hash)):
        found.setdefault(token.tablet_id, []).append(token)
    return found


def _last_trials(db: Session, tablet_ids: list[str]) -> dict[str, datetime]:
    # One step into the index for each tablet, not one for each of its trials.
    last = (
        select(TrialRow.received_at)
        .where(TrialRow.tablet_id == Tablet.id)
        .order_by(TrialRow.arrival.desc())
        .limit(1)
        .scalar_subquery()
    )
    rows = db.execute(select(Tablet.id, last).where(Tablet.id.in_(tablet_ids)))
    return {tablet_id: at for tablet_id, at in rows if at is not None}


def name_tablet(db: Session, tablet: Tablet, label: str | None) -> bool:
    """Give a tablet a label; the caller commits.

    Returns
    -------
    bool
        Whether it had another one before.
    """
    changed = tablet.label != label
    tablet.label = label
    db.flush()
    return changed


def revoke(db: Session, tablet_id: str, account_id: str | None, now: datetime) -> int:
    """End the tokens of a tablet at once; the caller commits.

    Parameters
    ----------
    db : Session
        Database session.
    tablet_id : str
        Which tablet.
    account_id : str or None
        Only the tokens of this account; None for all.
    now : datetime
        Now.

    Returns
    -------
    int
        How many tokens ended; those that had been revoked before do not count. [1]
    """
    query = update(Token).where(Token.tablet_id == tablet_id, Token.revoked_at.is_(None))
    if account_id is not None:
        query = query.where(Token.account_id == account_id)
    ended = db.execute(query.values(revoked_at=now).returning(Token.hash))
    return len(ended.all())


def calibrations_of(db: Session, tablet_ids: Collection[str]) -> list[Calibration]:
    """Return the calibrations of tablets, newest last: by arrival, as their clocks may be wrong."""
    return list(
        db.scalars(
            select(Calibration)
            .where(Calibration.tablet_id.in_(tablet_ids))
            .order_by(Calibration.received_at, Calibration.made_at, Calibration.id)
        )
    )


def add_calibration(db: Session, calibration: Calibration) -> tuple[Calibration, bool]:
    """Keep a calibration; the caller commits.

    Parameters
    ----------
    db : Session
        Database session.
    calibration : Calibration
        As the tablet sent it, not yet in the session.

    Returns
    -------
    calibration : Calibration
        The calibration as stored.
    created : bool
        False if the same one was there already.

    Raises
    ------
    Problem
        409 if its id belongs to another one.
    """
    found = _same_calibration(db, calibration)
    if found is not None:
        return found, False
    db.add(calibration)
    try:
        db.flush()
    except IntegrityError:
        # The same on two connections at once: the other one was faster.
        db.rollback()
        found = _same_calibration(db, calibration)
        if found is None:
            raise
        return found, False
    return calibration, True


def _same_calibration(db: Session, sent: Calibration) -> Calibration | None:
    found = db.scalar(select(Calibration).where(Calibration.id == sent.id))
    if found is not None and any(
        getattr(found, name) != getattr(sent, name) for name in SAME_CONTENT
    ):
        raise Problem(409, OTHER_CALIBRATION)
    return found
