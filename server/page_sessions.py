"""The sessions of a child as a list, newest first, with their trials."""

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

from server.dates import weekday_words
from server.numbers import NO_BREAK, each_side, percent, trimmed
from server.page_words import trial_words
from server.sentences import DIRECTION_WORDS, HAND_WORDS
from server.sentences_marks import OUTCOME_WORDS
from server.store_counts import tally
from server.store_marks import was_helped
from server.store_trials import DRAWN
from server.tables import MarkRow, SessionRow, TrialRow

if TYPE_CHECKING:
    from server.page_child import Reading

NOT_KNOWN = "–"
PAPER_WORDS = {"cut": "cut from paper", "entry": "on paper, entered by hand"}
# Flags that change how a line of the list is read; the page of the trial says all.
FLAG_WORDS = {
    "nothing_drawn": "nothing drawn",
    "partial": "part of the line",
    "traced_other_way": "the other way",
    "uncalibrated": "not calibrated",
    "finger": "finger",
    "low_rate": "few points a second",
    "scoring_failed": "not measured yet",
    "late": "arrived late",
}


class Seen(Protocol):
    """A trial with all that a line on it needs."""

    @property
    def trial(self) -> TrialRow:
        """The trial."""

    @property
    def facts(self) -> dict[str, Any]:
        """What is known of it."""

    @property
    def mark(self) -> MarkRow | None:
        """The mark that counts."""

    @property
    def voided(self) -> bool:
        """Whether it is not to be used."""

    @property
    def hand(self) -> str | None:
        """The hand that drew."""


class TrialLine(NamedTuple):
    """One trial in the list; `has_page` unless it was done on paper."""

    id: str
    number: int
    task: str
    condition: str
    on_path: str
    width: str
    covered: str
    remarks: str
    has_page: bool


class SessionBlock(NamedTuple):
    """One session with its trials; its page is ``/sessions/{id}``."""

    id: str
    day: str
    about: str
    trials: list[TrialLine]
    open: bool


def session_blocks(
    sessions: Iterable[SessionRow], readings: Sequence["Reading"]
) -> list[SessionBlock]:
    """Return the sessions of a child, newest first, each with its trials in order.

    Parameters
    ----------
    sessions : iterable of SessionRow
        Newest last.
    readings : sequence of Reading
        All trials of the child.

    Returns
    -------
    list of SessionBlock
        In words.
    """
    found: dict[str, list[Reading]] = {}
    for reading in readings:
        found.setdefault(reading.trial.session_id, []).append(reading)
    blocks: list[SessionBlock] = []
    for session in reversed(list(sessions)):
        # The list is unfolded down to the newest session that has something to read.
        fresh = not any(block.trials for block in blocks)
        blocks.append(_block(session, found.get(session.id, []), unfolded=fresh))
    return blocks


def _block(session: SessionRow, mine: Sequence["Reading"], *, unfolded: bool) -> SessionBlock:
    where = [word for word in (session.place, session.position) if word]
    about = ", ".join([*where, trial_words(tally(mine)) if mine else "no trial yet"])
    lines = [trial_line(number, reading) for number, reading in enumerate(mine, start=1)]
    return SessionBlock(session.id, weekday_words(session.day), about, lines, unfolded)


def trial_line(number: int, reading: Seen) -> TrialLine:
    """Return one trial in words.

    Parameters
    ----------
    number : int
        Which trial of its session, counted from 1.
    reading : Seen
        The trial with its facts and the mark that counts.

    Returns
    -------
    TrialLine
        In words; the width stands beside what was on the path.
    """
    facts = reading.facts
    way = facts["travelled"] or facts["direction"]
    words = [HAND_WORDS.get(reading.hand or ""), DIRECTION_WORDS.get(way or "")]
    on_path, half_mm = facts["scores"]["on_path_pct"], facts["half_width_mm"]
    return TrialLine(
        id=reading.trial.id,
        number=number,
        task=facts["task_name"] or facts["mode"],
        condition=", ".join(word for word in words if word),
        on_path=_reading(on_path),
        width="" if on_path is None else _width(half_mm, calibrated=facts["calibrated"]),
        covered=_reading(facts["scores"]["covered_pct"]),
        remarks=", ".join([*on_paper(reading), *_remarks(reading)]),
        has_page=reading.trial.kind in DRAWN,
    )


def _width(half_mm: float | None, *, calibrated: bool | None) -> str:
    """Return what stands beside every reading of "on the path"."""
    if not calibrated:
        return "width in mm not known"
    return "width varies along the line" if half_mm is None else each_side(half_mm)


def _reading(value_pct: float | None) -> str:
    return NOT_KNOWN if value_pct is None else percent(value_pct)


def on_paper(reading: Seen) -> list[str]:
    """Say what was done on paper and what an adult found there; nothing of a tablet's trial."""
    kind, facts = reading.trial.kind, reading.facts
    if kind not in PAPER_WORDS:
        return []
    counted = [f"{name.replace('_', ' ')} {count}" for name, count in facts["counts"].items()]
    stray_mm = facts.get("largest_stray_mm")
    if stray_mm is not None:
        counted.append(f"{trimmed(stray_mm)}{NO_BREAK}mm at most from the line, by ruler")
    return [PAPER_WORDS[kind], *counted]


def flag_words(facts: Mapping[str, Any]) -> list[str]:
    """Return in words the flags that change how a line on a trial is read."""
    return [word for flag, word in FLAG_WORDS.items() if flag in facts["flags"]]


def _remarks(reading: Seen) -> list[str]:
    said = flag_words(reading.facts)
    mark = reading.mark
    if mark is not None and mark.outcome not in (None, "finished"):
        said.insert(0, f"{OUTCOME_WORDS[mark.outcome or '']}, not counted")
    if reading.voided:
        said.insert(0, "voided, not counted")
    if was_helped(mark):
        said.append("with help")
    return said
