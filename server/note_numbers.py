"""The numbers a note is written with, ``linnet-numbers/1``, and what of them differs later."""

from typing import Any

import orjson
from sqlalchemy.orm import Session

from analysis import ANALYSIS_VERSION
from server.attempts import TRIAL
from server.dates import iso
from server.goal_matching import has_failed
from server.session_trials import Attempt, attempts_of
from server.store_marks import was_helped
from server.store_observations import observation_as_dict, observations_of
from server.store_results import facts_with
from server.store_trials import document_of, raw_of
from server.tables import SessionRow, TrialRow
from server.trial_readings import hand_used

FORMAT = "linnet-numbers/1"
FINISHED = "finished"
# Why a trial is not among the n of k of n, the first that holds.
VOIDED, NO_CRITERION, NOT_MEASURED = "voided", "no_criterion", "not_measured"
LEFT_OUT = (VOIDED, "stopped", "spoilt", "not_done", NO_CRITERION, NOT_MEASURED)
# What a criterion may be on: a measure, or in an entry a count or what a ruler said.
ASKED_ON = ("measure", "count", "entered")

Numbers = dict[str, Any]


def minutes_of(session: SessionRow) -> float | None:
    """Return how long a session lasted [min], or None while that is not known."""
    if session.started_at is None or session.ended_at is None:
        return None
    return round((session.ended_at - session.started_at).total_seconds() / 60.0, 1)


def numbers_of(db: Session, session: SessionRow) -> Numbers:
    """Return all numbers of a session as they are now.

    Parameters
    ----------
    db : Session
        Database session.
    session : SessionRow
        Which session.

    Returns
    -------
    dict
        ``linnet-numbers/1`` in plain types: `session`, `trials` with every measure,
        `groups` with k of n, `observations`.
    """
    trials = [_trial(one) for one in attempts_of(db, session.id)]
    return {
        "format": FORMAT,
        "analysis_version": ANALYSIS_VERSION,
        "session": session_numbers(session),
        "trials": trials,
        "groups": groups_of(trials),
        "observations": [observation_as_dict(row) for row in observations_of(db, session.id)],
    }


def session_numbers(session: SessionRow) -> Numbers:
    """Return the facts of a session in plain types, as a note keeps them."""
    start, end = session.started_at, session.ended_at
    return {
        "session_id": session.id,
        "day": session.day.isoformat(),
        "started_at": iso(start),
        "ended_at": iso(end),
        "minutes": minutes_of(session),
        "place": session.place,
        "position": session.position,
        "attendance": session.attendance,
        "kind": session.kind,
    }


def _trial(one: Attempt) -> Numbers:
    report, mark = one.result.report, one.mark
    facts = facts_with(one.result)
    if has_failed(report["quality"]) and one.trial.kind == TRIAL.name:
        facts = facts | _line_asked(one.trial)
    return {
        "trial_id": one.trial.id,
        "kind": one.trial.kind,
        "seq": one.trial.seq,
        "task_id": facts["task_id"],
        "task_name": facts["task_name"],
        "mode": facts["mode"],
        "guide_id": facts["guide_id"],
        "condition": {name: facts[name] for name in ("hand", "direction", "position", "tool")},
        "half_width_mm": facts["half_width_mm"],
        "hand_used": hand_used(facts, mark),
        "travelled": facts["travelled"],
        "mark_id": None if mark is None else mark.id,
        "outcome": None if mark is None else mark.outcome,
        "why": None if mark is None else mark.why,
        "helped": was_helped(mark),
        "help": None if mark is None else mark.help,
        "voided": one.voided,
        "late": one.trial.late,
        "amendment_no": one.result.amendment_no,
        "analysis_version": one.result.analysis_version,
        "flags": report["quality"]["flags"],
        "criterion": _criterion(one),
        "scores": facts["scores"],
        "counts": facts.get("counts"),
        "largest_stray_mm": facts.get("largest_stray_mm"),
        "duration_s": facts.get("duration_s"),
        "measures": {name: {"reason": None, **value} for name, value in report["measures"].items()},
    }


def _line_asked(trial: TrialRow) -> Numbers:
    """Return which line a trial that could not be measured was asked along, and its width."""
    # The analysis takes a second to load, and hardly any trial needs it here.
    from analysis.identity import guide_id
    from analysis.workings import Workings

    document = document_of(trial)
    try:
        guide = Workings(document.to_trial()).asked_guide
        if guide is None:
            return {}
        found: Numbers = {"guide_id": guide_id(guide)}
    except Exception:  # what made the scoring fail must not take the note with it
        return {}
    if document.device.calibrated and guide.parts and guide.has_corridor:
        widths_mm = {float(one) for part in guide.segment_corridor_mm for one in part}
        found["half_width_mm"] = widths_mm.pop() / 2.0 if len(widths_mm) == 1 else None
    return found


def _criterion(one: Attempt) -> Numbers | None:
    report = one.result.report
    met = report["criterion"]
    if met is None and not has_failed(report["quality"]):
        return None
    # The report says whether it was met; the record says what was asked.
    asked = orjson.loads(raw_of(one.trial)).get("task", {}).get("criterion") or {}
    if met is None:
        met = asked and {**asked, "met": None, "value": None}
    if not met:
        return None
    bounds = {name: asked.get(name) for name in ("at_least", "at_most")}
    on = {name: met[name] for name in ASKED_ON if met.get(name) is not None}
    return {**on, **bounds, "met": met["met"], "value": met["value"]}


def groups_of(trials: list[Numbers]) -> list[Numbers]:
    """Return k of n for equal task, width, hand, direction and criterion.

    Parameters
    ----------
    trials : list of dict
        The trials of ``linnet-numbers/1``.

    Returns
    -------
    list of dict
        In the order of their first trial: `met` is k, `of` is n, `helped` says how many of
        the n with help, `left_out` counts the others by reason.
    """
    groups: dict[bytes, Numbers] = {}
    for trial in trials:
        what = _group(trial)
        empty = {"met": 0, "of": 0, "helped": 0, "left_out": dict.fromkeys(LEFT_OUT, 0)}
        group = groups.setdefault(orjson.dumps(what), what | empty)
        reason = _left_out(trial)
        if reason is not None:
            group["left_out"][reason] += 1
        else:
            group["of"] += 1
            group["met"] += trial["criterion"]["met"]
            group["helped"] += trial["helped"]
    return list(groups.values())


def _group(trial: Numbers) -> Numbers:
    criterion = trial["criterion"]
    asked = None
    if criterion is not None:
        names = (*ASKED_ON, "at_least", "at_most")
        asked = {name: criterion[name] for name in names if name in criterion}
    names = ("task_id", "task_name", "mode", "guide_id", "half_width_mm")
    return {name: trial[name] for name in names} | {
        "hand": trial["hand_used"],
        "direction": trial["travelled"] or trial["condition"]["direction"],
        "criterion": asked,
    }


def _left_out(trial: Numbers) -> str | None:
    if trial["voided"]:
        return VOIDED
    if trial["outcome"] not in (None, FINISHED):
        reason: str = trial["outcome"]
        return reason
    if has_failed(trial):
        return NOT_MEASURED
    if trial["criterion"] is None:
        return NO_CRITERION
    return NOT_MEASURED if trial["criterion"]["met"] is None else None
