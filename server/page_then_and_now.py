"""What the page of then and now says: each series in a sentence, a picture, two tables."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple
from urllib.parse import urlencode

from sqlalchemy.orm import Session

from analysis.measure import Measure
from analysis.quality import FLAGS
from server.dates import day_words
from server.measure_choice import Option, chosen_measure, measure_options, measure_words
from server.numbers import count_word
from server.page_words import child_words
from server.sentences import NO_NORM, PRESSURE_NOTE, SAME_SERIES
from server.sentences_then_and_now import (
    NOT_KNOWN,
    CountLine,
    change_sentence,
    condition_words_of,
    count_lines,
    summary_sentence,
    value_line,
)
from server.store_sessions import sessions_of
from server.tables import Child, SessionRow
from server.then_and_now import MOST_EACH, Compared
from server.then_and_now_store import Chosen, Found, found_of
from server.trend_series import KIND_OF_SCOPE
from server.wording import plural

PICTURE_MM = 104.0
ALL, PROBES = "all", "probes"
TASK_WORDS = {PROBES: "Probes only", ALL: "Every task"}
# What has to stand beside the number of a series.
FLAGS_BESIDE = ("finger", "uncalibrated", "low_rate")
HOW_OFTEN = (
    "In how many trials it was met stands under each value, in brackets the interval in which "
    "the true share may lie (Wilson, 95 %). Spoilt, stopped and voided trials are not counted."
)
HOW_TO_READ = (
    "The spread of repeat trials is how far two single trials of one sitting lie apart at most, "
    "19 times in 20. It is known from five pairs on. From day to day a value may differ by more, "
    "and among twenty comparisons one may lie beyond by chance alone."
)


@dataclass(frozen=True)
class ThenAndNow:
    """What was found; the picture takes its rows alone.

    Attributes
    ----------
    measure : Measure
        Of all rows.
    rows : list of tuple
        The words of each condition, with its then and now.
    """

    measure: Measure
    rows: list[tuple[str, Compared]]
    child: Child
    chosen: Chosen
    found: Found

    @cached_property
    def words(self) -> dict[str, Any]:
        """What the page and its PDF say: plain words and lists of them."""
        return _words(self)


class Row(NamedTuple):
    """One series on the page."""

    condition: str
    sentence: str
    flags: list[str]
    value: Any
    counts: list[CountLine]

    @property
    def met(self) -> tuple[str, str]:
        """How often the one criterion was met, then and now; nothing where there is none."""
        if not self.counts:
            return "", ""
        then, now = self.counts[0].then, self.counts[0].now
        return "" if then == NOT_KNOWN else then, "" if now == NOT_KNOWN else now


def then_and_now(db: Session, child: Child, chosen: Chosen) -> ThenAndNow:
    """Return then and now of every series of a child for one measure.

    Parameters
    ----------
    db : Session
        Database session.
    child : Child
        A child that the reader may see.
    chosen : Chosen
        Measure, tasks, first and last session, how many on either side; what is not known
        falls back to the first choice.

    Returns
    -------
    ThenAndNow
        Its words are made once they are asked for.
    """
    measure = chosen_measure(chosen.measure_id, KIND_OF_SCOPE)
    found = found_of(db, child.id, sessions_of(db, child.id), measure, chosen)
    return ThenAndNow(measure, _named(found), child, chosen, found)


def _words(page: ThenAndNow) -> dict[str, Any]:
    measure, chosen, found = page.measure, page.chosen, page.found
    told = [_row(name, one, measure, found) for name, one in page.rows]
    return {
        "child": child_words(page.child),
        "sentence": summary_sentence([one for _, one in page.rows], measure),
        "rows": told,
        "asked": asked_sentence(told),
        "alone": _alone(found),
        "measures": measure_options(measure, KIND_OF_SCOPE),
        "tasks": [Option(key, word, key == chosen.tasks) for key, word in TASK_WORDS.items()],
        "firsts": _session_options(found.offered, found.allowed, first=True),
        "lasts": _session_options(found.offered, found.allowed, first=False),
        "eaches": [
            Option(str(each), f"{count_word(each)} {plural('session', each)}", each == chosen.each)
            for each in range(1, MOST_EACH + 1)
        ],
        "measure_words": measure_words(measure),
        "how": HOW_TO_READ,
        "trouble": found.trouble,
        "same_series": SAME_SERIES,
        "cautions": _cautions(measure),
        "query": _query(measure, chosen, found),
        "alt": _alt(told),
    }


def _named(found: Found) -> list[tuple[str, Compared]]:
    tablets = sorted({str(one.series.calibration_id) for one in found.compared})
    return [
        (
            condition_words_of(
                one.series,
                1 + tablets.index(str(one.series.calibration_id)) if len(tablets) > 1 else None,
            ),
            one,
        )
        for one in found.compared
    ]


def _row(name: str, one: Compared, measure: Measure, found: Found) -> Row:
    flags = found.flags_of(one)
    return Row(
        condition=name,
        sentence=change_sentence(one, measure),
        flags=[FLAGS[flag] for flag in FLAGS_BESIDE if flag in flags],
        value=value_line(one, measure),
        counts=count_lines(*found.counts_of(one)),
    )


def asked_sentence(rows: Sequence[Row]) -> str | None:
    """Say the criterion once if all rows that have one have the same and no other.

    Parameters
    ----------
    rows : sequence of Row
        Each with the criteria that were asked of it.

    Returns
    -------
    str or None
        None if each row has to say its own, or none has any.
    """
    asked = {line.within for row in rows for line in row.counts}
    if len(asked) != 1 or any(len(row.counts) > 1 for row in rows):
        return None
    return f"Asked: {asked.pop()}. {HOW_OFTEN}"


def _alone(found: Found) -> list[str]:
    """Name what has one session only, so that nobody looks for it in vain."""
    return [condition_words_of(series) for series in found.alone]


def _session_options(
    offered: Sequence[SessionRow], allowed: Sequence[str], *, first: bool
) -> list[Option]:
    if not allowed:
        return []
    here = allowed[0] if first else allowed[-1]
    return [Option(one.id, day_words(one.day), one.id == here) for one in offered]


def _cautions(measure: Measure) -> list[str]:
    # What a measure of the midline assumes stands with what it means.
    pressure = [PRESSURE_NOTE] if measure.family.casefold() == "pressure" else []
    return [NO_NORM, SAME_SERIES, *pressure]


def _query(measure: Measure, chosen: Chosen, found: Found) -> str:
    asked: dict[str, Any] = {"measure": measure.id, "tasks": chosen.tasks, "each": chosen.each}
    if found.allowed:
        asked |= {"first": found.allowed[0], "last": found.allowed[-1]}
    return urlencode(asked)


def _alt(rows: Sequence[Row]) -> str:
    return " ".join(f"{row.condition}: {row.sentence}" for row in rows)


def then_and_now_pdf(found: ThenAndNow) -> bytes:
    """Return the page for paper, as PDF."""
    from server.figures_style import render
    from server.figures_then_and_now import then_and_now_figure
    from server.printed import Block, Paragraph, Picture, Table, printed

    words = found.words
    blocks: list[Block] = [
        Paragraph(words["sentence"]),
        Paragraph(f"{found.measure.label}. {words['measure_words']}", muted=True),
    ]
    # One page: what a row's sentence says stands in its line of the table.
    blocks += [
        Paragraph(f"{row.condition}: {' '.join(row.flags)}") for row in words["rows"] if row.flags
    ]
    if found.rows:
        png = render(then_and_now_figure(found.rows, found.measure), "png")
        alt = f"{found.measure.label}, then and now, on one scale."
        blocks.append(Picture(png, alt, PICTURE_MM))
        blocks.append(_value_table(words, Table))
        if words["asked"]:
            blocks.append(Paragraph(words["asked"], muted=True))
        blocks += _counts(words, Table)
    blocks.append(Paragraph(words["how"], muted=True))
    title = f"{words['child'].name}: then and now"
    return printed(title, blocks, words["cautions"])


def _value_table(words: Mapping[str, Any], table: Any) -> Any:
    head = ("Condition", "Then", "Now", "Spread of repeats")
    lines = []
    for row in words["rows"]:
        met = [f"\nmet in {one}" if one and words["asked"] else "" for one in row.met]
        lines.append(
            (
                row.condition,
                f"{row.value.then}\n{row.value.then_when}{met[0]}",
                f"{row.value.now}\n{row.value.now_when}{met[1]}",
                f"{row.value.spread}\n{row.value.verdict}, {row.value.days} days",
            )
        )
    return table(head, lines)


def _counts(words: Mapping[str, Any], table: Any) -> list[Any]:
    lines = [
        (row.condition, line.asked, line.then, line.now)
        for row in words["rows"]
        for line in row.counts
        if words["asked"] is None
    ]
    return [table(("Condition", "Asked", "Then", "Now"), lines)] if lines else []
