"""What a series of sessions says, in plain words."""

from typing import NamedTuple

from analysis.measure import Measure
from analysis.trend import Slope
from server.numbers import NO_BREAK, count_word, each_side, is_share, measured, number, with_unit
from server.sentences import DIRECTION_WORDS, HAND_WORDS
from server.trend_series import Series
from server.wording import plural

LAID_WORDS = {
    "marks": "laid by printed marks",
    "best_fit": "laid by the best fit",
    "none": "laid as it was",
}


def series_words(series: Series, *, tool: bool = True) -> str:
    """Return hand, direction and tool of a series, as a heading."""
    words = [
        HAND_WORDS.get(series.hand or "", "hand not known"),
        DIRECTION_WORDS.get(series.travelled or "", ""),
        (series.tool or "") if tool else "",
        LAID_WORDS.get(series.laid or "", ""),
    ]
    return ", ".join(word for word in words if word)


class SlopeLine(NamedTuple):
    """One series in a row: what it was, how it ran, where it is."""

    condition: str
    width: str
    per_week: str
    interval: str
    sessions: int
    latest: str


def slope_line(series: Series, slope: Slope | None, measure: Measure) -> SlopeLine:
    """Return how a measure ran over the sessions of a series, without judging it."""
    return SlopeLine(
        condition=_first(series_words(series)),
        width="" if series.corridor_mm is None else each_side(series.corridor_mm / 2.0),
        per_week="" if slope is None else _per_week(slope.per_week, measure),
        interval=""
        if slope is None
        else (
            f"{_per_week(slope.low_per_week, measure)} to {_per_week(slope.high_per_week, measure)}"
        ),
        sessions=len(series.points),
        latest=measured(series.points[-1].value, measure),
    )


def slope_sentence(line: SlopeLine) -> str:
    """Say the same in a sentence, for those who cannot see the picture."""
    head = ", ".join(word for word in (line.condition, line.width) if word)
    sessions = f"{count_word(line.sessions)} {plural('session', line.sessions)}"
    if not line.per_week:
        return f"{head}: {sessions}, latest value {line.latest}."
    return (
        f"{head}: {line.per_week} a week (95 % interval {line.interval}) over {sessions}, latest "
        f"value {line.latest}."
    )


def _per_week(value: float, measure: Measure) -> str:
    """Return a change with its sign and one more digit than the value itself."""
    sign = "+" if value > 0 else ""
    if is_share(measure):
        return f"{sign}{number(100.0 * value, 1)}{NO_BREAK}points"
    return sign + with_unit(value, measure.unit, measure.decimals + 1)


def _first(words: str) -> str:
    return words[0].upper() + words[1:]
