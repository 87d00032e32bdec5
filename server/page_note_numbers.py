"""The numbers beside a note: k of n in a table, and what was noted in the session."""

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

import orjson

from server.note_draft import ANOTHER, LINE, REASON_WORDS, is_pen_practice, task_words
from server.note_draft_words import criterion_words, help_clause
from server.note_numbers import groups_of
from server.numbers import unbroken
from server.sentences import DIRECTION_WORDS, MIDLINE_NOTE, NO_NORM, PRESSURE_NOTE
from server.sentences_goals import interval_ends
from server.store_trials import ATTEMPTS
from server.wording import capital

Numbers = Mapping[str, Any]
# The group that one trial makes, and the trial.
Alone = tuple[Numbers, Numbers]

COUNTED = frozenset({"met", "of", "helped", "left_out"})
NO_CRITERION, NONE = "No criterion", "–"
PRACTICE_WORDS = "pen practice, not counted"
NOTED_KINDS = {"said": "Said", "remark": "Remark"}


class NumberRow(NamedTuple):
    """One line of the table; words that are empty are not said."""

    task: str
    direction: str
    asked: str
    met: str
    interval: str
    left_out: str
    help: str


def number_rows(numbers: Numbers) -> list[NumberRow]:
    """Return k of n for equal task, width, hand and direction, in words.

    Parameters
    ----------
    numbers : mapping
        ``linnet-numbers/1``.

    Returns
    -------
    list of NumberRow
        What was done on paper stands apart from what was drawn.
    """
    return list(_rows_by_group(numbers).values())


def _rows_by_group(numbers: Numbers) -> dict[bytes, NumberRow]:
    """Return each row by what its trials share: two lines may well have the same name."""
    rows: dict[bytes, NumberRow] = {}
    lines: dict[str, bytes] = {}
    for kind in sorted(ATTEMPTS, key=lambda one: one != "trial"):
        for group, mine in _groups([one for one in numbers["trials"] if one["kind"] == kind]):
            row = _row(group, mine)
            line = _key([kind, *(group[name] for name in LINE)])
            if lines.setdefault(row.task, line) != line:
                row = row._replace(task=f"{row.task}{ANOTHER}")
            rows[_key([kind, _what(group)])] = row
    return rows


def _key(what: list[Any]) -> bytes:
    return orjson.dumps(what, option=orjson.OPT_SORT_KEYS)


def number_words(numbers: Numbers) -> dict[str, Any]:
    """Return the table of a note; what all its lines ask for is said once, above them."""
    rows = number_rows(numbers)
    asked = {row.asked for row in rows}
    return {
        "rows": rows,
        "asked": next(iter(asked)) if len(asked) == 1 else "",
        "some_left_out": any(row.left_out for row in rows),
    }


def _groups(trials: list[Numbers]) -> Iterator[tuple[Numbers, list[Alone]]]:
    """Yield each group with its trials, each with the group it makes alone."""
    alone = [(groups_of([dict(one)])[0], one) for one in trials]
    for group in groups_of([dict(one) for one in trials]):
        yield group, [pair for pair in alone if _what(pair[0]) == _what(group)]


def _what(group: Numbers) -> Numbers:
    return {name: value for name, value in group.items() if name not in COUNTED}


def _row(group: Numbers, mine: list[Alone]) -> NumberRow:
    first = mine[0][1]
    met, of = group["met"], group["of"]
    left_out = [
        f"{count} {REASON_WORDS[name]}" for name, count in group["left_out"].items() if count
    ]
    if is_pen_practice(first):
        of, left_out = 0, [PRACTICE_WORDS]
    asked = group["criterion"]
    return NumberRow(
        task=task_words(first, group),
        direction=DIRECTION_WORDS.get(group["direction"] or "", ""),
        asked=unbroken(capital(criterion_words(asked, group["mode"]))) if asked else NO_CRITERION,
        met=f"{met} of {of}" if of else NONE,
        interval=_interval(met, of) if of else "",
        left_out=", ".join(left_out),
        help=help_clause([one for alone, one in mine if alone["of"]]),
    )


def _interval(met: int, of: int) -> str:
    return "–".join(interval_ends(met, of))


def count_changes(signed: Numbers, live: Numbers) -> list[str]:
    """Return which counts differ from those that were signed, a sentence for each."""
    was, now = (_rows_by_group(one) for one in (signed, live))
    lines = []
    for what in dict.fromkeys([*was, *now]):
        row = was.get(what) or now[what]
        before, after = (_count_words(rows.get(what)) for rows in (was, now))
        if before != after:
            name = ", ".join(filter(None, (row.task, row.direction)))
            lines.append(f"{name}: {before} when signed, {after} now.")
    return lines


def _count_words(row: NumberRow | None) -> str:
    if row is None:
        return "not there"
    met = "none counted" if row.met == NONE else f"met in {row.met}"
    return f"{met} (not counted: {row.left_out})" if row.left_out else met


def noted_lines(numbers: Numbers) -> dict[str, list[str]]:
    """Return what was said and remarked in the session, by kind, as it was written."""
    return {
        kind: [one["text"] for one in numbers["observations"] if one["kind"] == kind]
        for kind in NOTED_KINDS
    }


def cautions_of(numbers: Numbers) -> list[str]:
    """Return the cautions that belong to the numbers of a note."""
    measures = {name for one in numbers["trials"] for name in _known(one)}
    asked = {(group["criterion"] or {}).get("measure") or "" for group in numbers["groups"]}
    cautions = [NO_NORM]
    if "midline_crossing_share" in measures:
        cautions.append(f"Midline: {MIDLINE_NOTE[0].lower()}{MIDLINE_NOTE[1:]}")
    if any(name.startswith("pressure") for name in asked):
        cautions.append(f"Pressure: {PRESSURE_NOTE[0].lower()}{PRESSURE_NOTE[1:]}")
    return cautions


def _known(trial: Numbers) -> Iterator[str]:
    return (name for name, row in trial["measures"].items() if row["value"] is not None)
