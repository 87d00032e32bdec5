"""Settings of the practice, as its owner chose them: a list that is only added to."""

from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.tables import PracticeSetting


class WholeNumber(NamedTuple):
    """A whole number between two, both included; or none, where that is allowed."""

    least: int
    most: int
    may_be_none: bool = False

    def fits(self, value: object) -> bool:
        """Return whether a value is of this kind."""
        if value is None:
            return self.may_be_none
        return type(value) is int and self.least <= value <= self.most

    @property
    def sentence(self) -> str:
        """What would be right."""
        otherwise = " or null" if self.may_be_none else ""
        return f"This must be a whole number from {self.least} to {self.most}{otherwise}."


class KnownSetting(NamedTuple):
    """One setting that an owner can change."""

    name: str
    kind: WholeNumber
    default: int | None
    help: str


KNOWN = (
    KnownSetting(
        "idle_minutes",
        WholeNumber(5, 720),
        60,
        "A sign-in that was not used for this many minutes ends. It ends after twelve hours "
        "in any case.",
    ),
    KnownSetting(
        "retention_years",
        WholeNumber(1, 100, may_be_none=True),
        None,
        "For how many years the record of a new child is kept, unless another day is given; "
        "'linnet erase --due' erases what is past its day. null means that the practice decides "
        "case by case. Ask what the law of your place wants.",
    ),
)
BY_NAME = {one.name: one for one in KNOWN}


def setting(db: Session, name: str) -> Any:
    """Return the value of a setting: the newest one chosen, else the default.

    Raises
    ------
    KeyError
        If there is no setting of this name.
    """
    known = BY_NAME[name]
    newest = db.scalar(
        select(PracticeSetting.value)
        .where(PracticeSetting.name == name)
        .order_by(PracticeSetting.number.desc())
        .limit(1)
    )
    return known.default if newest is None else newest[0]


def last_choice(db: Session, name: str) -> PracticeSetting | None:
    """Return who chose the present value of a setting, and when; None if it is the default."""
    return db.scalar(
        select(PracticeSetting)
        .where(PracticeSetting.name == name)
        .order_by(PracticeSetting.number.desc())
        .limit(1)
    )


def choose(db: Session, name: str, value: object, account_id: str, now: datetime) -> None:
    """Set a setting; the caller has checked the value, and commits."""
    # In a list: of a bare number's text SQLite would make a number, which is no JSON text.
    db.add(PracticeSetting(name=name, value=[value], account_id=account_id, at=now))
    db.flush()
