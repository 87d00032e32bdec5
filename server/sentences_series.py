"""What a series of sessions says, in plain words."""

from analysis.measure import Measure
from analysis.trend import Slope
from server.numbers import count_word, each_side, is_share, measured, number, with_unit
from server.sentences import DIRECTION_WORDS, HAND_WORDS, plural
from server.trend_series import Series


def series_words(series: Series, *, tool: bool = True) -> str:
    """Return hand, direction and tool of a series, as a heading."""
    words = [
        HAND_WORDS.get(series.hand or "", "hand not known"),
        DIRECTION_WORDS.get(series.travelled or "", ""),
        (series.tool or "") if tool else "",
    ]
    return ", ".join(word for word in words if word)


def slope_words(series: Series, slope: Slope | None, measure: Measure) -> str:
    """Say how a measure ran over the sessions, without judging it."""
    sessions = len(series.points)
    width = "" if series.corridor_mm is None else f", {each_side(series.corridor_mm / 2.0)}"
    head = f"{_first(series_words(series))}{width}: "
    last = series.points[-1]
    if slope is None:
        return (
            f"{head}{count_word(sessions)} {plural('session', sessions)}, latest value "
            f"{measured(last.value, measure)}. A slope needs five sessions."
        )
    return (
        f"{head}{_per_week(slope.per_week, measure)} a week (95 % interval "
        f"{_per_week(slope.low_per_week, measure)} to {_per_week(slope.high_per_week, measure)}) "
        f"over {count_word(sessions)} sessions; latest value {measured(last.value, measure)}."
    )


def _per_week(value: float, measure: Measure) -> str:
    """Return a change with its sign and one more digit than the value itself."""
    sign = "+" if value > 0 else ""
    if is_share(measure):
        return f"{sign}{number(100.0 * value, 1)} percentage points"
    return sign + with_unit(value, measure.unit, measure.decimals + 1)


def _first(words: str) -> str:
    return words[0].upper() + words[1:]
