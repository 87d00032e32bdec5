"""Then and now in plain words: within or beyond the spread of repeat trials, no judgement."""

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from analysis.measure import Measure
from analysis.registry import MEASURES
from server.dates import day_words
from server.note_draft_words import criterion_words
from server.numbers import (
    NO_BREAK,
    count_word,
    each_side,
    is_share,
    measured,
    number,
    trimmed,
    with_unit,
)
from server.sentences_criterion import bounds_words, label_words
from server.sentences_goals import interval_ends
from server.sentences_series import series_words
from server.then_and_now import TOO_FEW, Compared, Period
from server.trend_series import Series
from server.wording import capital, plural

NOT_KNOWN = "–"
VERDICTS = {True: "beyond", False: "within", None: "too little to say"}

Groups = Sequence[Mapping[str, Any]]


class ValueLine(NamedTuple):
    """Then and now of one series in numbers."""

    then: str
    then_when: str
    now: str
    now_when: str
    days: str
    spread: str
    verdict: str


class CountLine(NamedTuple):
    """One criterion, as it stands within a sentence, and in how many trials it was met."""

    within: str
    then: str
    now: str

    @property
    def asked(self) -> str:
        """The criterion as it stands on its own."""
        return capital(self.within)


def condition_words_of(series: Series, calibration: int | None = None) -> str:
    """Return what a series is of: task, width, hand, direction, tool."""
    words = [series.task_name or series.mode]
    if series.corridor_mm is not None:
        words.append(each_side(series.corridor_mm / 2.0))
    words.append(series_words(series))
    if series.midline_offset_mm is not None:
        words.append(f"midline {trimmed(series.midline_offset_mm)}{NO_BREAK}mm from the left edge")
    if calibration is not None:
        words.append(f"calibration {calibration}")
    return ", ".join(words)


def spread_words(spread: float, measure: Measure) -> str:
    """Return the spread of a measure; that of a share in points of percent.

    Examples
    --------
    >>> from analysis.registry import measure
    >>> spread_words(0.123, measure("in_corridor_share")).replace(NO_BREAK, " ")
    '12 points'
    >>> spread_words(1.04, measure("deviation_mean_abs")).replace(NO_BREAK, " ")
    '1.0 mm'
    """
    if is_share(measure):
        return f"{number(100.0 * spread, 0 if spread >= 0.01 else 1)}{NO_BREAK}points"
    # Counts have a spread that is no count.
    return with_unit(spread, measure.unit, max(1, measure.decimals))


def change_sentence(one: Compared, measure: Measure) -> str:
    """Say where a series is and where it was, and whether that is beyond the spread."""
    values = f"Now {_value(one.now, measure)}, then {_value(one.then, measure)}"
    if one.spread is not None:
        where = "beyond" if one.is_beyond else "within"
        spread = spread_words(one.spread, measure)
        return f"{values}: {where} the spread of repeat trials ({spread})."
    if one.reason == TOO_FEW:
        pairs = len(one.series.repeats)
        known = f"{count_word(pairs)} {plural('pair', pairs)}"
        return f"{values}: too few repeat trials to say ({known}; five are needed)."
    return f"{values}: no two repeat trials differ, so there is no spread to hold it against."


def summary_sentence(rows: Sequence[Compared], measure: Measure) -> str:
    """Say in one sentence how many series lie beyond, within, or cannot be told."""
    if not rows:
        return "There is nothing to compare yet: no series has two sessions with this measure."
    counts = {
        "beyond": sum(one.is_beyond is True for one in rows),
        "within": sum(one.is_beyond is False for one in rows),
        "too little to say": sum(one.is_beyond is None for one in rows),
    }
    told = [f"{count_word(count)} {word}" for word, count in counts.items() if count]
    if counts["beyond"] or counts["within"]:
        told = [
            f"{word} the spread of repeat trials" if "say" not in word else word for word in told
        ]
    series = f"{count_word(len(rows))} series"
    return f"{measure.label}, {series} compared: {', '.join(told)}."


def value_line(one: Compared, measure: Measure) -> ValueLine:
    """Return the numbers of one series."""
    return ValueLine(
        then=_value(one.then, measure),
        then_when=period_words(one.then),
        now=_value(one.now, measure),
        now_when=period_words(one.now),
        days=str(one.days),
        spread=NOT_KNOWN if one.spread is None else spread_words(one.spread, measure),
        verdict=VERDICTS[one.is_beyond],
    )


def _value(period: Period, measure: Measure) -> str:
    return measured(period.value, measure)


def period_words(period: Period) -> str:
    """Return days, trials, help and position of a period."""
    words = [_when(period), f"{period.count} {plural('trial', period.count)}"]
    words.append(f"{period.helps} with help" if period.helps else "no help noted")
    positions = sorted({word for point in period.points for word in point.positions})
    words += [word.replace("_", " ") for word in positions]
    return ", ".join(words)


def _when(period: Period) -> str:
    first, last = period.points[0].day, period.points[-1].day
    if first == last:
        return day_words(first)
    if (first.year, first.month) == (last.year, last.month):
        return f"{first.day} to {day_words(last)}"
    return f"{day_words(first)} to {day_words(last)}"


def count_lines(then: Groups, now: Groups) -> list[CountLine]:
    """Return k of n then and now, a line for each criterion that was asked.

    Parameters
    ----------
    then, now : sequence of mapping
        Groups as in ``linnet-numbers/1``, of one series.

    Returns
    -------
    list of CountLine
        What was not asked in one of the two has a dash there.
    """
    asked: list[Any] = []
    for group in (*then, *now):
        if group["criterion"] is not None and group["criterion"] not in asked:
            asked.append(group["criterion"])
    return [
        CountLine(
            _criterion_words(criterion, [*then, *now]),
            _count_words(criterion, then),
            _count_words(criterion, now),
        )
        for criterion in asked
    ]


def _count_words(criterion: Any, groups: Groups) -> str:
    mine = [group for group in groups if group["criterion"] == criterion]
    met, of = sum(group["met"] for group in mine), sum(group["of"] for group in mine)
    return share_words(met, of) if of else NOT_KNOWN


def share_words(met: int, of: int) -> str:
    """Return k of n with its Wilson interval.

    Examples
    --------
    >>> share_words(4, 5).replace(NO_BREAK, " ")
    '4 of 5 (38–96 %)'
    """
    return f"{met} of {of} ({'–'.join(interval_ends(met, of))})"


def _criterion_words(criterion: Mapping[str, Any], groups: Groups) -> str:
    entry = next((one for one in MEASURES if one.id == criterion.get("measure")), None)
    widths = {group["half_width_mm"] for group in groups} - {None}
    beside = [each_side(width_mm) for width_mm in sorted(widths)]
    if entry is None:
        # Of a release whose registry knew another name.
        return ", ".join([criterion_words(criterion, ""), *beside])
    return ", ".join([f"{label_words(entry)} {bounds_words(criterion, entry)}", *beside])
