"""The table of hand and direction on the page of a child."""

from collections.abc import Sequence
from statistics import median
from typing import Any, NamedTuple

from analysis.measure import Measure
from server.child_attempts import Reading
from server.dates import day_words
from server.numbers import measured
from server.sentences import DIRECTION_WORDS, HAND_WORDS, widths_words
from server.tables import SessionRow
from server.wording import capital, plural

# Below this many trials a cell shows its raw values.
FULL_CELL = 3
HANDS = ("left", "right", "free", "both")


class Cell(NamedTuple):
    """One cell: its direction, its value or values, and how many trials those are."""

    direction: str
    text: str
    trials: str


class GridRow(NamedTuple):
    """One hand."""

    hand: str
    cells: list[Cell]


def hand_grid(
    readings: Sequence[Reading], sessions: Sequence[SessionRow], measure: Measure, path: str | None
) -> dict[str, Any]:
    """Return hand by direction, for the guide of a path that was drawn last.

    Parameters
    ----------
    readings : sequence of Reading
        Trials of a child, newest last.
    sessions : sequence of SessionRow
        Of the same child.
    measure : Measure
        What the values are.
    path : str or None
        Which path.

    Returns
    -------
    dict
        ``columns``, ``rows`` and ``caption``, in words.
    """
    mine = [r for r in readings if r.facts["path_id"] == path and r.counts]
    guides = [r.facts["guide_id"] for r in mine]
    mine = [r for r in mine if r.facts["guide_id"] == guides[-1]]
    columns = [way for way in DIRECTION_WORDS if any(r.facts["travelled"] == way for r in mine)]
    rows = [
        GridRow(
            capital(HAND_WORDS[hand]),
            [_cell([r for r in mine if _is_in(r, hand, way)], measure, way) for way in columns],
        )
        for hand in HANDS
        if any(r.hand == hand for r in mine)
    ]
    return {
        "columns": [capital(DIRECTION_WORDS[way]) for way in columns],
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
    width = widths_words(reading.facts for reading in mine)
    words = [measure.label, facts["task_name"] or facts["mode"], *([width] if width else [])]
    first = min(days[reading.trial.session_id] for reading in mine)
    return (
        f"{', '.join(words)}; since {day_words(first)}. Median of the trials that count; their "
        f"values one by one while there are fewer than {FULL_CELL}."
    )


def _cell(readings: Sequence[Reading], measure: Measure, way: str) -> Cell:
    values = [value for r in readings if (value := r.value) is not None]
    count = f"{len(values)} {plural('trial', len(values))}" if values else "no trial yet"
    direction = capital(DIRECTION_WORDS[way])
    if not values:
        return Cell(direction, "", count)
    if len(values) < FULL_CELL:
        return Cell(direction, " and ".join(measured(value, measure) for value in values), count)
    return Cell(direction, measured(median(values), measure), count)
