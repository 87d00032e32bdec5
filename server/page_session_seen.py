"""What the adult saw beside the tablet: activities, rests, ticks, words; and what is noted."""

from collections.abc import Mapping
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from server.dates import clock_words
from server.numbers import minutes_words
from server.page_session_live import PHYSICAL, Seen
from server.page_session_refused import Refused
from server.sentences_marks import help_words
from server.settings import Settings
from server.store_observations import observations_of
from server.tables import ObservationRow, SessionRow, random_id
from server.wording import capital

# As on the strip of the tablet.
TICK_GROUPS = (
    (
        "Hands",
        (
            ("helper_hand_holds", "Helper hand holds the paper"),
            ("helper_hand_turns", "Helper hand turns the paper"),
            ("thumb_up", "Thumb up in the scissors"),
            ("swapped_hands", "Swapped hands"),
        ),
    ),
    (
        "Body",
        (
            ("elbow_off_table", "Elbow off the table"),
            ("trunk_still", "Trunk still"),
            ("turned_instead_of_crossing", "Turned the page or body instead of crossing"),
            ("distress", "Distress"),
        ),
    ),
    (
        "Grip",
        (
            ("grip_whole_hand", "Whole hand"),
            ("grip_fingers_pronated", "Fingers, pronated"),
            ("grip_static_tripod", "Static tripod"),
            ("grip_dynamic_tripod", "Dynamic tripod"),
            ("grip_other", "Another grip"),
        ),
    ),
)
TICK_WORDS = {kind: word for _, ticks in TICK_GROUPS for kind, word in ticks}
GRIPS = {kind for kind, _ in TICK_GROUPS[2][1]}
# What one line can say of help: the value that is sent, the words, what is stored.
HELP_CHOICES: tuple[tuple[str, str, dict[str, Any] | None], ...] = (
    ("", "not said", None),
    ("none", "none", {"physical": "none"}),
    ("setup", "set-up only", {"setup": True}),
    ("given", "some, not described", {"given": True}),
    *((word, f"{word} physical help", {"physical": word}) for word in PHYSICAL[1:]),
    ("hand_over_hand", "hand over hand", {"hand_over_hand": True}),
)
ACTIVITIES = ("Rolling", "Crumpling", "Threading", "Pouring", "Painting")
RESTS = ("tired", "noise", "upset", "pain")

# What the fields of each form stand at before anything is typed.
EMPTY: dict[str, dict[str, Any]] = {
    "activity": {"activity": "", "minutes": "", "help": "", "remark": ""},
    "rest": {"minutes": "", "why": ""},
    "ticks": {"ticks": []},
    "words": {"kind": "remark", "text": ""},
}


class Noted(NamedTuple):
    """One thing that is noted, in words."""

    id: str
    clock: str
    about: str
    words: str
    remark: str


def observed(
    db: Session,
    session: SessionRow,
    trials: list[Seen],
    settings: Settings,
    refused: Refused,
) -> dict[str, Any]:
    """Return what the section on observations needs.

    Parameters
    ----------
    db : Session
        Database session.
    session : SessionRow
        Which session.
    trials : list of Seen
        Its trials, in order.
    settings : Settings
        Say the practice's time zone.
    refused : Refused
        The form that was refused, if one was.

    Returns
    -------
    dict
        `noted`, newest first; the choices of the forms; `ids`, fresh ones for what is sent.
    """
    numbers = {one.trial.id: number for number, one in enumerate(trials, start=1)}
    rows = observations_of(db, session.id)
    of_session = {row.kind for row in rows if row.trial_id is None}
    return {
        "noted": [_noted(row, numbers, settings) for row in reversed(rows)],
        "groups": [
            (name, [(kind, word, kind in of_session) for kind, word in ticks])
            for name, ticks in TICK_GROUPS
        ],
        "helps": [(value, word) for value, word, _ in HELP_CHOICES],
        "activities": ACTIVITIES,
        "rests": RESTS,
        "ids": {name: random_id() for name in ("activity", "rest", "ticks", "words")},
        "typed": {form: fields | dict(refused.typed_in(form)) for form, fields in EMPTY.items()},
    }


def _noted(row: ObservationRow, numbers: Mapping[str, int], settings: Settings) -> Noted:
    number = numbers.get(row.trial_id or "")
    about = f"trial {number}" if number is not None else ""
    words, remark = observation_words(row)
    return Noted(row.id, clock_words(settings.local(row.at)), about, words, remark)


def observation_words(row: ObservationRow) -> tuple[str, str]:
    """Return what was observed in a few words, and what was remarked beside it."""
    first, _, rest = (row.text or "").partition("\n")
    length = [] if row.minutes is None else [minutes_words(row.minutes)]
    given = [] if row.help is None else [f"help: {help_words(row.help)}"]
    if row.kind == "activity":
        return ", ".join([first, *length, *given]), rest.strip()
    if row.kind == "rest":
        return ", ".join(["Rest", *length]), row.text or ""
    if row.kind in TICK_WORDS:
        word = TICK_WORDS[row.kind]
        grip = row.kind in GRIPS
        return (f"Grip: {word[0].lower()}{word[1:]}" if grip else word), row.text or ""
    return {"said": "Said", "remark": "Remark"}.get(row.kind, capital(row.kind)), row.text or ""
