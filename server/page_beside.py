"""Two trials of one path beside each other: their measures, and what was different about them."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from analysis.measure import Measure
from analysis.registry import MEASURES
from server.beside_lines import pair_words, remark_words
from server.deps import SeenTrial
from server.numbers import measured, trimmed, unbroken
from server.page_trial import FAMILY_NOTES, ON_PATH, readings
from server.page_words import child_words
from server.problems import Problem
from server.sentences import (
    DIRECTION_WORDS,
    HAND_WORDS,
    NO_NORM,
    SAME_SERIES,
    SURFACE_WORDS,
    TABLET_WORDS,
    flag_sentences,
    width_words,
)
from server.store_marks import latest_marks
from server.store_results import facts_with
from server.store_trials import report_of, result_of
from server.tables import MarkRow
from server.trial_readings import hand_used
from server.wording import capital, joined

OTHER_GUIDE = (
    "These two trials are not of the same path: their guides or their widths differ, so they are "
    "not laid over each other."
)
SAME_TRIAL = "This is one trial. Choose another one of the same path to lay beside it."
NOT_SAID = "not said"
# What keeps two trials out of one series.
SCALE = "Scale of the screen"
OF_A_SERIES = ("Hand", "Direction drawn", "Tool", SCALE)
SCALES = {True: "true scale", False: "no true scale"}


class Difference(NamedTuple):
    """A condition of two trials that is not the same."""

    label: str
    texts: tuple[str, str]


class Row(NamedTuple):
    """A measure that both trials have."""

    label: str
    texts: tuple[str, str]


class Group(NamedTuple):
    """Measures of one family."""

    name: str
    note: str | None
    rows: list[Row]


def check_pair(db: Session, one: SeenTrial, other: SeenTrial) -> None:
    """Refuse two trials that cannot be laid over each other.

    Raises
    ------
    Problem
        404, with a sentence unless they are of two children.
    """
    if one.child.id != other.child.id:
        raise Problem(404)
    if one.trial.id == other.trial.id:
        raise Problem(404, SAME_TRIAL)
    guides = [facts_with(result_of(db, seen.trial))["guide_id"] for seen in (one, other)]
    if guides[0] is None or guides[0] != guides[1]:
        raise Problem(404, OTHER_GUIDE)


def beside_page(db: Session, one: SeenTrial, other: SeenTrial) -> dict[str, Any]:
    """Return what the template of two trials needs.

    Parameters
    ----------
    db : Session
        Database session.
    one, other : SeenTrial
        Two trials that `check_pair` lets pass.

    Returns
    -------
    dict
        Plain words and lists of them; no difference between the numbers is judged.
    """
    lines = pair_words(db, one, other)
    reports = [report_of(db, seen.trial) for seen in (one, other)]
    differences = _differences(db, one, other)
    apart = [one.label.lower() for one in differences if one.label in OF_A_SERIES]
    groups, left_out = _groups(reports)
    return {
        "child": child_words(one.child),
        "lines": list(zip("AB", lines, strict=True)),
        "task": facts_with(result_of(db, one.trial))["task_name"] or reports[0]["mode"],
        "alt": f"Both lines over their guide. A: {lines[0].words}. B: {lines[1].words}.",
        "apart": _apart_sentence(apart),
        "differences": differences,
        "limits": [
            f"{letter}: {flag}"
            for letter, report in zip("AB", reports, strict=True)
            for flag in flag_sentences(report)
        ],
        "readings": _reading_rows(reports),
        "groups": groups,
        "left_out": left_out,
        "cautions": [NO_NORM, SAME_SERIES],
    }


def _apart_sentence(labels: Sequence[str]) -> str | None:
    if not labels:
        return None
    verb = "differs" if len(labels) == 1 else "differ"
    return f"Not one series: {joined(list(labels))} {verb}."


def _reading_rows(reports: Sequence[Mapping[str, Any]]) -> list[Row]:
    first, second = (readings(report) for report in reports)
    return [
        Row(
            capital(f"{a.label}, {a.beside}" if a.beside else a.label),
            (a.text or "not known", b.text or "not known"),
        )
        for a in first
        for b in second
        if a.label == b.label
    ]


def _groups(reports: Sequence[Mapping[str, Any]]) -> tuple[list[Group], int]:
    """Return the measures both have, by family, and how many only one of them has."""
    values = [report["measures"] for report in reports]
    known = [entry for entry in MEASURES if all(entry.id in one for one in values)]
    numbers = {entry.id: [one[entry.id]["value"] for one in values] for entry in known}
    shared = [entry for entry in known if None not in numbers[entry.id]]
    lone = sum(None in found and found != [None, None] for found in numbers.values())
    groups = [
        Group(
            name,
            FAMILY_NOTES.get(name.casefold()),
            [_row(entry, numbers[entry.id], width_words(reports[0])) for entry in group],
        )
        for name, group in groupby(shared, key=lambda entry: entry.family)
    ]
    return groups, lone


def _row(entry: Measure, numbers: Sequence[float], width: str | None) -> Row:
    a, b = (measured(value, entry) for value in numbers)
    beside = f", {width}" if width and entry.id == ON_PATH else ""
    return Row(f"{unbroken(entry.label)}{beside}", (a, b))


def _differences(db: Session, one: SeenTrial, other: SeenTrial) -> list[Difference]:
    """Return what was asked or noted differently."""
    marks = latest_marks(db, [one.trial.id, other.trial.id])
    facts = [facts_with(result_of(db, seen.trial)) for seen in (one, other)]
    first, second = (
        _conditions(found, marks.get(seen.trial.id))
        for found, seen in zip(facts, (one, other), strict=True)
    )
    said = [Difference(label, (first[label], second[label])) for label in first]
    return [line for line in said if line.texts[0] != line.texts[1]] + list(_scales(facts))


def _conditions(facts: Mapping[str, Any], mark: MarkRow | None) -> dict[str, str]:
    offset_mm = facts["midline_offset_mm"]
    return {
        "Hand": HAND_WORDS.get(hand_used(facts, mark) or "", NOT_SAID),
        "Direction drawn": DIRECTION_WORDS.get(facts["travelled"] or "", "not known"),
        "Tool": (facts["tool"] or facts["pointer_type"] or NOT_SAID).replace("_", " "),
        "Position": (facts["position"] or NOT_SAID).replace("_", " "),
        "Tablet": TABLET_WORDS.get(facts["tablet_at"] or "", NOT_SAID),
        "Surface": SURFACE_WORDS.get(facts["surface"] or "", NOT_SAID),
        "Midline": "not known"
        if offset_mm is None
        else f"{trimmed(offset_mm, 1)} mm from the left end of the path",
        "Noted by adults": remark_words(mark, voided=False)
        or ("nothing" if mark is None else "no help"),
    }


def _scales(facts: Sequence[Mapping[str, Any]]) -> Iterator[Difference]:
    """Yield a difference where the millimetres of two trials come from two calibrations."""
    words = [SCALES[bool(one["calibrated"])] for one in facts]
    if facts[0]["calibration_id"] == facts[1]["calibration_id"] and words[0] == words[1]:
        return
    if words[0] == words[1]:
        words = ["one calibration", "another calibration"]
    yield Difference(SCALE, (words[0], words[1]))
