"""What the page of one trial says."""

from collections.abc import Iterable, Iterator, Mapping
from itertools import groupby
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from analysis.measure import Measure
from analysis.registry import MEASURES, measure
from server.amending import Amended
from server.dates import day_words
from server.deps import SeenTrial
from server.documents import CriterionFields, TrialDocument
from server.numbers import NO_BREAK, measured, percent, unbroken
from server.page_words import child_words
from server.sentences import (
    HAND_WORDS,
    MIDLINE_NOTE,
    NO_NORM,
    PRESSURE_NOTE,
    alt_text,
    condition_words,
    flag_sentences,
    reason_sentence,
    sentence,
    width_words,
)
from server.sentences_criterion import bounds_words, label_words
from server.sentences_marks import outcome_caution
from server.sentences_modes import CONTACTS
from server.store_marks import counts, latest_marks
from server.store_trials import (
    ATTEMPTS,
    DRAWN,
    amended_document,
    report_of,
    trials_of_session,
)
from server.store_voids import voided_ids
from server.tables import TrialRow
from server.wording import capital

NOT_GIVEN = "not given"
# A guide that has no such thing is no fault of the trial.
NOT_FOR_THIS_GUIDE = "guide_lacks_feature"
FAMILY_NOTES = {"midline": MIDLINE_NOTE, "pressure": PRESSURE_NOTE}
# Cautions that have to stand beside the numbers they touch.
BESIDE = {
    "on_path_pct": {"finger": "drawn with a finger", "coarse_positions": "coarse positions"},
    "covered_pct": {"finger": "drawn with a finger"},
    "moving_pct": {"low_rate": "few points a second", "gaps_filled": "gaps bridged"},
}
ON_PATH = "in_corridor_share"
READINGS = (
    ("on_path_pct", "of the line on the path", ON_PATH),
    ("covered_pct", "of the line drawn", "completion"),
    ("moving_pct", "of the time moving", "moving_time"),
)
# Where dots are what was asked for, they are what is covered.
DOT_LABELS = {"tap": "of the dots touched", "join": "of the dots joined"}


class Reading(NamedTuple):
    """One of the three readings; `text` is None where it is not known."""

    label: str
    text: str | None
    beside: str | None
    why: str | None


class MeasureLine(NamedTuple):
    """One measure: its number, or why there is none."""

    label: str
    text: str
    meaning: str
    refused: bool


class SessionLink(NamedTuple):
    """The session of a trial by random id, and its day."""

    id: str
    day: str


class Family(NamedTuple):
    """Measures under one heading."""

    name: str
    remark: str | None
    note: str | None
    rows: list[MeasureLine]


def trial_page(db: Session, seen: SeenTrial) -> dict[str, Any]:
    """Return what the template of a trial needs.

    Parameters
    ----------
    db : Session
        Database session.
    seen : SeenTrial
        A trial that the reader may see.

    Returns
    -------
    dict
        Plain words and lists of them.
    """
    report = report_of(db, seen.trial)
    amended = amended_document(db, seen.trial)
    document = amended.document
    condition = document.condition.model_dump()
    listed = trials_of_session(db, seen.session.id, kinds=ATTEMPTS)
    place = [trial.id for trial in listed].index(seen.trial.id)
    newest = latest_marks(db, [seen.trial.id]).get(seen.trial.id)
    voided = bool(voided_ids(db, [seen.trial.id]))
    counted = counts(newest) and not voided
    return {
        "child": child_words(seen.child),
        "trial_id": seen.trial.id,
        "about": [
            word.replace(" ", NO_BREAK)
            for word in (
                *_task_words(document),
                *condition_words(condition),
            )
        ],
        "session": SessionLink(seen.session.id, day_words(seen.session.day).replace(" ", NO_BREAK)),
        "place": f"trial{NO_BREAK}{place + 1}{NO_BREAK}of{NO_BREAK}{len(listed)}",
        "sentence": sentence(report),
        "alt": alt_text(report),
        "outcome": [
            *_corrections(amended, voided),
            *outcome_caution(newest, document.condition.hand),
        ],
        "flags": flag_sentences(report),
        "readings": readings(report),
        "criterion": criterion_sentence(document.task.criterion, report, counted=counted),
        "families": [
            *families(report, width_words(report)),
            *contact_families(report),
        ],
        "before": _nearest_drawn(reversed(listed[:place])),
        "after": _nearest_drawn(listed[place + 1 :]),
        "cautions": [NO_NORM],
    }


def _nearest_drawn(trials: Iterable[TrialRow]) -> str | None:
    """Return the first trial that has a page: what was done on paper is counted and has none."""
    return next((trial.id for trial in trials if trial.kind in DRAWN), None)


def _corrections(amended: Amended[TrialDocument], voided: bool) -> list[str]:
    """Say what adults corrected since."""
    said = []
    if voided:
        said.append("Voided: it is kept and not counted.")
    if amended.count:
        said.append("Corrected: this page counts the corrections; the record is as it was drawn.")
    if amended.hand_used is not None:
        said.append(f"Hand used, as corrected: {HAND_WORDS[amended.hand_used]}.")
    return said


def _task_words(document: TrialDocument) -> list[str]:
    name = document.task.name or document.task.mode
    return [f"{name} (probe)" if document.task.use == "probe" else name]


def readings(report: Mapping[str, Any]) -> list[Reading]:
    """Return the three readings; each stands alone and they are never added up."""
    found = []
    for key, usual, measure_id in READINGS:
        if measure_id not in report["measures"] and report["measures"]:
            # Not a reading of this mode, so nothing is missing.
            continue
        label = DOT_LABELS.get(report["mode"], usual) if key == "covered_pct" else usual
        value = report["scores"].get(key)
        reason = report["measures"].get(measure_id, {}).get("reason")
        flags = report["quality"]["flags"]
        why = [word for flag, word in BESIDE[key].items() if flag in flags]
        if value is None:
            why = [reason_sentence(reason).rstrip(".")] if reason else []
            if "nothing_drawn" in flags:
                why = []
        found.append(
            Reading(
                label,
                None if value is None else percent(value),
                width_words(report) if key == "on_path_pct" and value is not None else None,
                "; ".join(why) or None,
            )
        )
    return found


def criterion_sentence(
    asked: CriterionFields | None, report: Mapping[str, Any], *, counted: bool = True
) -> str | None:
    """Say what the task asked for and whether this trial, if it counts, met it."""
    found = report["criterion"]
    if asked is None or found is None:
        return None
    entry = next((one for one in MEASURES if one.id == asked.measure), None)
    if entry is None:
        return None
    words = bounds_words(asked.model_dump(), entry)
    width = width_words(report) if entry.id == ON_PATH else None
    beside = f", {width}" if width else ""
    met = {True: "met", False: "not met", None: "cannot be said"}[found["met"]]
    if not counted:
        met = "not counted"
    return f"Asked for: {label_words(entry)} {words}{beside}. In this trial: {met}."


def _lower(label: str) -> str:
    return label[0].lower() + label[1:]


def families(report: Mapping[str, Any], width: str | None = None) -> Iterator[Family]:
    """Yield the measures of a report under their headings, in the registry's order.

    `width` says how wide the path was, to stand beside the share that was on it.
    """
    known = [measure(name) for name in report["measures"]]
    order = {entry.id: place for place, entry in enumerate(MEASURES)}
    known.sort(key=lambda entry: order[entry.id])
    refused: dict[str, list[str]] = {}
    for name, group in groupby(known, key=lambda entry: entry.family):
        family = _family(name, list(group), report["measures"], width)
        if family.rows:
            yield family
        else:
            refused.setdefault(family.remark or NOT_GIVEN, []).append(name)
    # Headings without a single number stand at the end, together where the reason is one.
    for remark, names in refused.items():
        yield Family("; ".join(names), remark, None, [])


def contact_families(report: Mapping[str, Any]) -> Iterator[Family]:
    """Yield what was measured of each of two contacts, without what it cannot have."""
    for contact in report["contacts"] or ():
        for family in families(contact, width_words(report)):
            rows = [row for row in family.rows if not row.refused]
            if rows:
                name = f"{capital(CONTACTS[contact['pointer']])}: {_lower(family.name)}"
                yield Family(name, None, family.note, rows)


def _family(
    name: str, group: list[Measure], values: Mapping[str, Any], width: str | None
) -> Family:
    note = FAMILY_NOTES.get(name.casefold())
    reasons = {values[entry.id].get("reason") for entry in group}
    if len(reasons) == 1 and None not in reasons:
        return Family(name, f"{NOT_GIVEN}. {reason_sentence(reasons.pop())}", note, [])
    present = [entry for entry in group if not _absent(values[entry.id])]
    rows = [_line(entry, values[entry.id], width) for entry in present]
    refused = sum(row.refused for row in rows)
    remark = f"{refused} of {len(rows)} {NOT_GIVEN}" if refused else None
    return Family(name, remark, note, rows)


def _absent(value: Mapping[str, Any]) -> bool:
    return value.get("reason") == NOT_FOR_THIS_GUIDE


def _line(entry: Measure, value: Mapping[str, Any], width: str | None) -> MeasureLine:
    if value["value"] is None:
        return MeasureLine(unbroken(entry.label), NOT_GIVEN, reason_sentence(value["reason"]), True)
    beside = f"{capital(width)}. " if width and entry.id == ON_PATH else ""
    text = measured(value["value"], entry)
    return MeasureLine(unbroken(entry.label), text, f"{beside}{entry.meaning}", False)
