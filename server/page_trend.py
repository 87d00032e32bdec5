"""What the page of a child says of one measure from session to session."""

from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any, NamedTuple

from matplotlib.figure import Figure
from sqlalchemy.orm import Session

from analysis.measure import Measure
from server.child_attempts import Reading
from server.dates import day_words
from server.figures_panel import slope_of
from server.figures_trend import trend_figure
from server.goal_bodies import OPEN
from server.measure_choice import chosen_measure
from server.numbers import (
    NO_BREAK,
    count_word,
    is_share,
    measured,
    number,
    with_unit,
)
from server.page_goals import task_name_of
from server.sentences import SURFACE_WORDS, TABLET_WORDS, widths_words
from server.sentences_series import series_words, slope_line, slope_sentence
from server.store_goals import goals_of
from server.trend_bands import (
    BASELINE,
    LEAST_BASELINE,
    LEAST_PAIRS,
    Baselines,
    band_of,
    baseline_count,
    is_about,
    least_change,
)
from server.trend_series import Series, series_of
from server.trial_readings import NOT_SAID
from server.wording import capital, joined, plural


class SpreadLine(NamedTuple):
    """One series against its own noise, and how the tablet lay."""

    condition: str
    width: str
    pairs: int
    least: str
    change: str
    band: str
    lay: str


def trend_picture(
    db: Session, child_id: str, measure_id: str | None, path: str, *, narrow: bool
) -> Figure | None:
    """Return the picture of one path, or None if the child never drew it.

    Parameters
    ----------
    db : Session
        Database session.
    child_id : str
        Whose series.
    measure_id : str or None
        Which measure; the first choice if it is not known.
    path : str
        Which path.
    narrow : bool
        For a phone.

    Returns
    -------
    Figure or None
        As `server.figures_trend` draws it.
    """
    entry = chosen_measure(measure_id)
    series = [one for one in series_of(db, child_id, entry.id) if one.path_id == path]
    if not series:
        return None
    until = baseline_until(db, child_id, entry.id, series)
    return trend_figure(series, entry, narrow=narrow, until=until)


def baseline_until(
    db: Session, child_id: str, measure_id: str, series: Iterable[Series]
) -> Baselines:
    """Return the last day of the baseline phase of each of some series of one measure.

    It is the first baseline of the open goals on this measure that are about the series. A
    series for which none names one is left out: none is guessed.
    """
    goals = [
        (goal.conditions, task_name_of(db, goal.conditions.get("task_id")), goal.baseline["day"])
        for goal in goals_of(db, child_id)
        if goal.measure == measure_id and goal.status == OPEN and goal.baseline is not None
    ]
    found = {}
    for one in series:
        days = [day for asked, task_name, day in goals if is_about(asked, task_name, one)]
        if days:
            found[one] = date.fromisoformat(min(days))
    return found


def trend_words(
    child_id: str,
    measure: Measure,
    series: Sequence[Series],
    readings: Sequence[Reading],
    until: Baselines,
) -> dict[str, Any] | None:
    """Return what the page says of the series of one path; None without any.

    Parameters
    ----------
    child_id : str
        Whose series.
    measure : Measure
        What the values are.
    series : sequence of Series
        Of one path.
    readings : sequence of Reading
        Trials of the child.
    until : Baselines
        Last day of the baseline phase of each series that has one.

    Returns
    -------
    dict or None
        Addresses of the picture, its words, and a line on each series.
    """
    if not series:
        return None
    lines = [
        slope_line(one, slope_of(one.points), measure)._replace(width=_width(one, readings))
        for one in series
    ]
    spread = [_spread_line(one, measure, readings, until.get(one)) for one in series]
    said = " ".join(slope_sentence(line) for line in lines)
    address = f"/children/{child_id}/trend.svg?measure={measure.id}&task={series[0].path_id}"
    return {
        "src": address,
        "narrow": f"{address}&narrow=true",
        "alt": f"{measure.label} from session to session. {said}",
        "points": is_share(measure),
        "lines": lines,
        "spread": spread,
        "lays": [line for line in spread if line.lay],
        "bands": any(band_of(one, until.get(one)) for one in series),
        "least_pairs": LEAST_PAIRS,
    }


def _spread_line(
    one: Series, measure: Measure, readings: Sequence[Reading], until: date | None
) -> SpreadLine:
    least = least_change(one)
    return SpreadLine(
        condition=capital(series_words(one)),
        width=_width(one, readings),
        pairs=len(one.repeats),
        least="" if least is None else _difference(least, measure, sign=False),
        change=_change(one, measure, least),
        band=_band_words(one, measure, until),
        lay=_lay(one, readings),
    )


def _change(one: Series, measure: Measure, least: float | None) -> str:
    if len(one.points) < 2:
        return "one session only"
    change = one.points[-1].value - one.points[0].value
    told = _difference(change, measure)
    if least is None:
        return told
    return f"{told}, {'beyond' if abs(change) > least else 'within'} the spread"


def _difference(value: float, measure: Measure, *, sign: bool = True) -> str:
    plus = "+" if sign and value > 0 else ""
    if is_share(measure):
        return f"{plus}{number(100.0 * value, 1)}{NO_BREAK}points"
    return plus + with_unit(value, measure.unit, measure.decimals)


def _band_words(one: Series, measure: Measure, until: date | None) -> str:
    """Say what the hatched band is, or why there is none."""
    band, sessions = band_of(one, until), baseline_count(one, until)
    if band is None:
        if len(one.repeats) >= LEAST_PAIRS:
            return "no band: repeat trials do not differ"
        return (
            f"no band: {count_word(len(one.repeats))} {plural('pair', len(one.repeats))} of "
            f"repeat trials, {count_word(LEAST_PAIRS)} are needed"
        )
    if band.kind == BASELINE:
        ends = f"{measured(band.low, measure)} to {measured(band.high, measure)}"
        return (
            f"mean ± 2 SD of {count_word(sessions)} baseline sessions: {ends}"
            f"{', uncertain below five' if sessions < LEAST_PAIRS else ''}"
        )
    short = (
        f"; baseline until {day_words(until)} has fewer than {count_word(LEAST_BASELINE)} sessions"
        if until is not None
        else ""
    )
    return f"first session ± least change beyond noise{short}"


def _lay(one: Series, readings: Iterable[Reading]) -> str:
    """Say how the tablet lay, where it did not lie the same in all trials of a series."""
    mine = _facts_of(one, readings)
    ways: Counter[str] = Counter()
    for facts in mine:
        words = [
            TABLET_WORDS.get(facts["tablet_at"] or ""),
            SURFACE_WORDS.get(facts["surface"] or ""),
        ]
        ways[", ".join(word for word in words if word) or "not said"] += 1
    if len(ways) < 2:
        return ""
    return joined([f"{way} in {count}" for way, count in ways.most_common()])


def _width(one: Series, readings: Iterable[Reading]) -> str:
    return widths_words(_facts_of(one, readings))


def _facts_of(one: Series, readings: Iterable[Reading]) -> list[dict[str, Any]]:
    return [reading.facts for reading in readings if _is_of(reading, one)]


def _is_of(reading: Reading, one: Series) -> bool:
    facts = reading.facts
    tool = facts["tool"] or facts["pointer_type"] or NOT_SAID
    return reading.counts and (
        facts["mode"],
        facts["guide_id"],
        reading.hand,
        facts["travelled"],
        tool,
        facts["calibration_id"],
    ) == (one.mode, one.guide_id, one.hand, one.travelled, one.tool, one.calibration_id)
