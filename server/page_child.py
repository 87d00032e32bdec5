"""What the page of one child says: trends, hand and direction, sessions."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from statistics import median
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from analysis.measure import Measure
from analysis.registry import MEASURES
from server.dates import day_words
from server.figures_panel import slope_of
from server.numbers import each_side, is_share, measured, near_words
from server.page_sessions import session_blocks
from server.page_words import child_words
from server.sentences import DIRECTION_WORDS, HAND_WORDS, MIDLINE_NOTE, NO_NORM, SAME_SERIES
from server.sentences_series import slope_line, slope_sentence
from server.store_marks import counts, latest_marks
from server.store_results import facts_with, values_of
from server.store_sessions import sessions_of
from server.store_trials import ATTEMPTS, DRAWN, results_of, trials_of_child
from server.store_voids import voided_ids
from server.tables import Child, MarkRow, SessionRow, TrialRow
from server.trend_series import Series, measure_by_id, series_of
from server.trial_readings import hand_used
from server.wording import plural

FIRST_MEASURE = "deviation_mean_abs"
# Below this many trials a cell of the hand and direction table shows its raw values.
FULL_CELL = 3
HANDS = ("left", "right", "free", "both")
BETTER_WORDS = {"low": "Lower is better.", "high": "Higher is better."}


class Option(NamedTuple):
    """One choice of a list."""

    value: str
    word: str
    here: bool


class OptionGroup(NamedTuple):
    """Choices under one heading."""

    name: str
    options: list[Option]


class Cell(NamedTuple):
    """One cell of the hand and direction table."""

    text: str
    trials: str


class GridRow(NamedTuple):
    """One hand."""

    hand: str
    cells: list[Cell]


@dataclass(frozen=True)
class Reading:
    """One trial of a child: its facts, the mark that counts, the value of one measure."""

    trial: TrialRow
    facts: dict[str, Any]
    mark: MarkRow | None
    voided: bool
    value: float | None

    @property
    def counts(self) -> bool:
        """Whether it is counted."""
        return counts(self.mark) and not self.voided

    @property
    def hand(self) -> str | None:
        """The hand that drew, as amended or marked, else as asked."""
        return hand_used(self.facts, self.mark)


def child_page(
    db: Session, child: Child, measure_id: str | None, path_id: str | None
) -> dict[str, Any]:
    """Return what the template of a child needs.

    Parameters
    ----------
    db : Session
        Database session.
    child : Child
        A child that the reader may see.
    measure_id, path_id : str or None
        The measure and the path chosen; what is not known falls back to the first choice.

    Returns
    -------
    dict
        Plain words and lists of them.
    """
    sessions = sessions_of(db, child.id)
    measure = chosen_measure(measure_id)
    attempts = _readings(db, child.id, measure)
    readings = [one for one in attempts if one.trial.kind in DRAWN]
    tasks = _tasks(readings)
    path = path_id if path_id in tasks else next(iter(tasks), None)
    series = [one for one in series_of(db, child.id, measure.id) if one.path_id == path]
    return {
        "child": child_words(child),
        "tasks": [Option(value, word, value == path) for value, word in tasks.items()],
        "measures": _measure_options(measure),
        "measure_words": _measure_words(measure),
        "trend": _trend(child.id, measure, path, series),
        "same_series": SAME_SERIES,
        "grid": _grid(readings, sessions, measure, path),
        "sessions": session_blocks(sessions, attempts),
        "cautions": [NO_NORM],
    }


def chosen_measure(measure_id: str | None) -> Measure:
    """Return the measure with an id; the first choice where there is none."""
    found = measure_by_id(measure_id or FIRST_MEASURE)
    if found is None or found.scope != "trial":
        found = measure_by_id(FIRST_MEASURE)
    if found is None:
        raise LookupError(f"{FIRST_MEASURE} is not in the registry")
    return found


def _readings(db: Session, child_id: str, measure: Measure) -> list[Reading]:
    trials = trials_of_child(db, child_id, kinds=ATTEMPTS)
    ids = [trial.id for trial in trials]
    marks, voided = latest_marks(db, ids), voided_ids(db, ids)
    found = list(results_of(db, trials, reports=False))
    values = values_of(db, (result for _, result in found), {measure.id})
    return [
        Reading(
            trial,
            facts_with(result),
            marks.get(trial.id),
            trial.id in voided,
            values[trial.id].get(measure.id),
        )
        for trial, result in found
    ]


def _tasks(readings: Iterable[Reading]) -> dict[str, str]:
    """Paths the child has drawn and their names; probes first, then the most drawn."""
    found: dict[str, list[Reading]] = {}
    for reading in readings:
        path = reading.facts["path_id"]
        if path is not None:
            found.setdefault(path, []).append(reading)
    order = sorted(found, key=lambda path: (not _is_probe(found[path]), -len(found[path])))
    return {path: _task_word(found[path]) for path in order}


def _is_probe(readings: list[Reading]) -> bool:
    return any(reading.facts["use"] == "probe" for reading in readings)


def _task_word(readings: list[Reading]) -> str:
    facts = readings[-1].facts
    name = facts["task_name"] or facts["mode"]
    return f"{name} (probe)" if _is_probe(readings) else str(name)


def _measure_options(chosen: Measure) -> list[OptionGroup]:
    trial = [entry for entry in MEASURES if entry.scope == "trial"]
    return [
        OptionGroup(
            name, [Option(entry.id, entry.label, entry.id == chosen.id) for entry in entries]
        )
        for name, entries in groupby(trial, key=lambda entry: entry.family)
    ]


def _measure_words(measure: Measure) -> str:
    better = BETTER_WORDS.get(measure.better)
    if measure.better == "near" and measure.near is not None:
        better = f"Nearer to {near_words(measure.near)} is better."
    note = MIDLINE_NOTE if measure.family.casefold() == "midline" else None
    return " ".join(word for word in (measure.meaning, better, note) if word)


def _trend(
    child_id: str, measure: Measure, path: str | None, series: Sequence[Series]
) -> dict[str, Any] | None:
    if not series:
        return None
    lines = [slope_line(one, slope_of(one.points), measure) for one in series]
    said = " ".join(slope_sentence(line) for line in lines)
    address = f"/children/{child_id}/trend.svg?measure={measure.id}&task={path}"
    return {
        "src": address,
        "narrow": f"{address}&narrow=true",
        "alt": f"{measure.label} from session to session. {said}",
        "points": is_share(measure),
        "lines": lines,
    }


def _grid(
    readings: Sequence[Reading], sessions: Sequence[SessionRow], measure: Measure, path: str | None
) -> dict[str, Any]:
    """Hand by direction, for the guide of the path that was drawn last."""
    mine = [r for r in readings if r.facts["path_id"] == path and r.counts]
    guides = [r.facts["guide_id"] for r in mine]
    mine = [r for r in mine if r.facts["guide_id"] == guides[-1]]
    columns = [way for way in DIRECTION_WORDS if any(r.facts["travelled"] == way for r in mine)]
    rows = [
        GridRow(
            HAND_WORDS[hand],
            [_cell([r for r in mine if _is_in(r, hand, way)], measure) for way in columns],
        )
        for hand in HANDS
        if any(r.hand == hand for r in mine)
    ]
    return {
        "columns": [DIRECTION_WORDS[way] for way in columns],
        "rows": rows,
        "caption": _caption(mine, sessions, measure),
    }


def _is_in(reading: Reading, hand: str, way: str) -> bool:
    return reading.hand == hand and reading.facts["travelled"] == way


def _caption(mine: Sequence[Reading], sessions: Sequence[SessionRow], measure: Measure) -> str:
    if not mine:
        return ""
    facts = mine[-1].facts
    days = {session.id: session.day for session in sessions}
    half_mm = facts["half_width_mm"]
    words = [measure.label, facts["task_name"] or facts["mode"]]
    if half_mm is not None:
        words.append(each_side(half_mm))
    first = min(days[reading.trial.session_id] for reading in mine)
    return (
        f"{', '.join(words)}; since {day_words(first)}. Median of the trials that count; their "
        f"values one by one while there are fewer than {FULL_CELL}."
    )


def _cell(readings: Sequence[Reading], measure: Measure) -> Cell:
    values = [value for r in readings if (value := r.value) is not None]
    count = f"{len(values)} {plural('trial', len(values))}" if values else "no trial yet"
    if not values:
        return Cell("", count)
    if len(values) < FULL_CELL:
        return Cell(" and ".join(measured(value, measure) for value in values), count)
    return Cell(measured(median(values), measure), count)
