"""The trials of one session as they come in: newest first, each with its row of marks."""

import hashlib
from dataclasses import dataclass
from typing import Any, NamedTuple

import orjson
from sqlalchemy.orm import Session

from server.mark_taps import TAP_WORDS, tap_of
from server.page_sessions import (
    FLAG_WORDS,
    NOT_KNOWN,
    TrialLine,
    flag_words,
    on_paper,
    trial_line,
)
from server.page_words import trial_words
from server.sentences_marks import CUE_WORDS, help_words, mark_sentence
from server.session_trials import attempts_of
from server.store_counts import tally
from server.store_results import facts_with
from server.store_voids import voids_of
from server.tables import MarkRow, SessionRow, TrialRow, random_id
from server.trial_readings import hand_used
from server.wording import sentence_of

STATE_LETTERS = 12
PHYSICAL = ("none", "minimal", "moderate", "maximal", "total")
CUE_LABELS = {"verbal": "Verbal", "gesture": "Gesture", "demonstration": "Demonstration"}
# As on the strip of the tablet, first of what was spoilt, then of what was stopped.
REASONS = (
    "another child touched the screen",
    "the screen was touched by chance",
    "trouble with the tablet or the pen",
    "tired",
    "upset",
    "refused",
)
NO_MARK = "No mark yet."
VOIDED = "Voided: kept, not counted."
LATE = "Arrived after its day had ended."


@dataclass(frozen=True)
class Seen:
    """One trial of a session with what is known of it."""

    trial: TrialRow
    facts: dict[str, Any]
    mark: MarkRow | None
    voided: bool

    @property
    def hand(self) -> str | None:
        """The hand that drew, as amended or marked, else as asked."""
        return hand_used(self.facts, self.mark)


class Said(NamedTuple):
    """What the fields of a mark in detail stand at."""

    tap: str
    why: str
    hand_used: str
    setup: bool
    cues: list[tuple[str, str, int]]
    physical: str
    hand_over_hand: bool


class LiveTrial(NamedTuple):
    """One trial of the list.

    `state` differs whenever anything that is shown of the trial does; `mark_id` and
    `detail_id`, of its two forms, are fresh each time the list is made.
    """

    line: TrialLine
    covered: str
    remarks: list[str]
    marked: str
    tap: str | None
    said: Said
    mark_id: str
    detail_id: str
    state: str


def seen_trials(db: Session, session: SessionRow) -> list[Seen]:
    """Return the trials of a session in order, cut pieces and entries among them."""
    return [
        Seen(one.trial, facts_with(one.result), one.mark, one.voided)
        for one in attempts_of(db, session.id, reports=False)
    ]


def live_words(db: Session, trials: list[Seen]) -> dict[str, Any]:
    """Return what the list of trials needs.

    Parameters
    ----------
    db : Session
        Database session.
    trials : list of Seen
        From `seen_trials`.

    Returns
    -------
    dict
        `trials`, newest first; `came_in`, one short sentence; `taps`, `physical` and
        `reasons`, the choices of a mark.
    """
    rows = [_row(db, number, one) for number, one in enumerate(trials, start=1)]
    return {
        "trials": rows[::-1],
        "came_in": _came_in_words(trials),
        "taps": list(TAP_WORDS.items()),
        "physical": PHYSICAL,
        "reasons": REASONS,
    }


def _came_in_words(trials: list[Seen]) -> str:
    """Say how many trials came in, and how many of those that can be used nobody has marked."""
    if not trials:
        return "No trial has come in yet."
    counted = tally(trials)
    said = trial_words(counted, verb=True)
    if not counted.usable:
        return f"{said}."
    bare = sum(one.mark is None and not one.voided for one in trials)
    return f"{said}, {bare} without a mark." if bare else f"{said}, each with a mark."


def said_of(mark: MarkRow | None) -> Said:
    """Return what the fields of a mark in detail stand at before anything is changed."""
    noted: dict[str, Any] = {} if mark is None or mark.help is None else mark.help
    cues = noted.get("cues") or {}
    return Said(
        tap=tap_of(mark) or "",
        why="" if mark is None else mark.why or "",
        hand_used="" if mark is None else mark.hand_used or "",
        setup=bool(noted.get("setup") or noted.get("set_up")),
        cues=[(cue, CUE_LABELS[cue], int(cues.get(cue) or 0)) for cue in CUE_WORDS],
        physical=noted.get("physical") or "",
        hand_over_hand=bool(noted.get("hand_over_hand")),
    )


def _row(db: Session, number: int, one: Seen) -> LiveTrial:
    line, said = trial_line(number, one), said_of(one.mark)
    remarks, marked = _remarks(db, one), _mark_words(one.mark)
    shown = [str(part) for part in (line, remarks, marked, said)]
    state = hashlib.sha256(orjson.dumps(shown)).hexdigest()[:STATE_LETTERS]
    return LiveTrial(
        line=line,
        covered="" if line.covered == NOT_KNOWN else line.covered,
        remarks=remarks,
        marked=marked,
        tap=said.tap or None,
        said=said,
        mark_id=random_id(),
        detail_id=random_id(),
        state=state,
    )


def _remarks(db: Session, one: Seen) -> list[str]:
    """Say what limits a trial: taken back, late, its flags in words."""
    said = []
    if one.voided:
        said.append(f"{VOIDED} {sentence_of(voids_of(db, one.trial.id)[-1].reason.rstrip('.'))}")
    if one.trial.late:
        said.append(LATE)
    late = FLAG_WORDS["late"]
    words = [word for word in (*on_paper(one), *flag_words(one.facts)) if word != late]
    return [*said, sentence_of(", ".join(words))] if words else said


def _mark_words(mark: MarkRow | None) -> str:
    """Say a mark as the row of taps has it, then what was said in detail."""
    tap = tap_of(mark)
    if mark is None or tap is None:
        return NO_MARK if mark is None else mark_sentence(mark)
    words = [f"{TAP_WORDS[tap]}{f': {mark.why}' if mark.why else ''}."]
    if mark.hand_used is not None:
        hand = {"left": "left hand", "right": "right hand", "both": "both hands"}[mark.hand_used]
        words.append(f"Drawn with {'the ' if mark.hand_used != 'both' else ''}{hand}.")
    if mark.help and set(mark.help) != {"given"}:
        words.append(f"Help: {help_words(mark.help)}.")
    if mark.outcome != "finished":
        words.append("Kept, not counted.")
    return " ".join(words)
