"""What the owner's page of settings says: name, meaning, default and present value of each."""

from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from server.page_owner import moment_words
from server.settings import Settings
from server.store_changes import account_names
from server.store_settings import KNOWN, KnownSetting, last_choice, setting
from server.wording import plural


class SettingWords(NamedTuple):
    """How a setting is called on the page, and in what it is counted."""

    title: str
    unit: str
    about: str
    none: str = ""


WORDS = {
    "idle_minutes": SettingWords(
        "An unused sign-in ends after",
        "minute",
        "A sign-in at the desk that was not used for so long ends. It ends after twelve hours in "
        "any case.",
    ),
    "retention_years": SettingWords(
        "A child's record is kept for",
        "year",
        "For how long the record of a child who is added from now on is kept, unless another day "
        "is given. The command 'linnet erase --due' erases what is past its day; nothing is erased "
        "by itself. Ask what the law of your place wants.",
        "decided case by case",
    ),
}


class SettingRow(NamedTuple):
    """One setting with its form."""

    name: str
    title: str
    label: str
    about: str
    value: str
    default: str
    least: int
    most: int
    may_be_empty: bool
    typed: str
    chosen: str
    rule: str


def value_words(name: str, value: int | None) -> str:
    """Return a value with its unit.

    Examples
    --------
    >>> value_words("idle_minutes", 60), value_words("retention_years", None)
    ('60 minutes', 'decided case by case')
    """
    words = WORDS[name]
    return words.none if value is None else f"{value} {plural(words.unit, value)}"


def rule_words(known: KnownSetting) -> str:
    """Return what may be typed for a setting."""
    words, kind = WORDS[known.name], known.kind
    empty = f" Left empty: {words.none}." if kind.may_be_none else ""
    unit = plural(words.unit, kind.most)
    return f"A whole number of {unit}, from {kind.least} to {kind.most}.{empty}"


def settings_page(
    db: Session, settings: Settings, typed: dict[str, str] | None = None
) -> dict[str, Any]:
    """Return what the template of the settings needs.

    Parameters
    ----------
    db : Session
        Database session.
    settings : Settings
        Say the practice's time zone.
    typed : dict or None
        What was typed in a form that was refused, by the name of the setting.

    Returns
    -------
    dict
        Plain words and lists of them.
    """
    names = account_names(db)
    return {"rows": [_row(db, known, names, settings, typed or {}) for known in KNOWN]}


def _row(
    db: Session,
    known: KnownSetting,
    names: dict[str, str],
    settings: Settings,
    typed: dict[str, str],
) -> SettingRow:
    value, choice, words = setting(db, known.name), last_choice(db, known.name), WORDS[known.name]
    chosen = "never changed"
    if choice is not None:
        who = names.get(choice.account_id, "somebody")
        chosen = f"chosen by {who} on {moment_words(settings, choice.at)}"
    return SettingRow(
        known.name,
        words.title,
        f"{words.title}, in {plural(words.unit, known.kind.most)}",
        words.about,
        value_words(known.name, value),
        value_words(known.name, known.default),
        known.kind.least,
        known.kind.most,
        known.kind.may_be_none,
        typed.get(known.name, "" if value is None else str(value)),
        chosen,
        rule_words(known),
    )
