"""Children a therapist is linked to: what is known of them, their trials, their trends."""

from typing import Annotated, Any

from fastapi import APIRouter, Query, Response

from server.deps import Db, LinkedChild, Therapist
from server.faults import Fault
from server.problems import Problem
from server.routes_trials import json_answer
from server.store_children import children_of
from server.store_marks import latest_marks
from server.store_sessions import sessions_of
from server.store_trials import results_of, trials_of_child
from server.tables import Child

router = APIRouter(prefix="/api/children")

NO_MEASURE = "This must be the id of a measure of one trial; see linnet measures."


def child_as_dict(child: Child) -> dict[str, Any]:
    """Return a child in plain types, for those who may see it."""
    return {
        "child_id": child.id,
        "code": child.code,
        "nickname": child.nickname,
        "sign": child.sign.split(),
        "birth_month": child.birth_month,
        "preferred_hand": child.preferred_hand,
    }


@router.get("")
def read_children(account: Therapist, db: Db) -> Response:
    """Return the children the therapist is linked to."""
    return json_answer({"children": [child_as_dict(one) for one in children_of(db, account)]})


@router.get("/{child_id}")
def read_child(child: LinkedChild, db: Db) -> Response:
    """Return one child with its sessions, newest last."""
    sessions = [
        {"session_id": one.id, "day": one.day.isoformat(), "place": one.place}
        for one in sessions_of(db, child.id)
    ]
    return json_answer(child_as_dict(child) | {"sessions": sessions})


@router.get("/{child_id}/trials")
def read_trials(child: LinkedChild, db: Db) -> Response:
    """Return a line on each trial of a child, newest last."""
    days = {one.id: one.day.isoformat() for one in sessions_of(db, child.id)}
    trials = trials_of_child(db, child.id)
    marks = latest_marks(db, [trial.id for trial in trials])
    lines = []
    for trial, result in results_of(db, trials):
        mark = marks.get(trial.id)
        lines.append(
            {
                "trial_id": trial.id,
                "session_id": trial.session_id,
                "day": days[trial.session_id],
                "seq": trial.seq,
                "late": trial.late,
                **result.facts,
                "travelled": result.report["travelled"],
                "half_width_mm": result.report["half_width_mm"],
                "scores": result.report["scores"],
                "flags": result.report["quality"]["flags"],
                "criterion": result.report["criterion"],
                "outcome": None if mark is None else mark.outcome,
            }
        )
    return json_answer({"trials": lines})


@router.get("/{child_id}/trend")
def read_trend(child: LinkedChild, measure: Annotated[str, Query()], db: Db) -> Response:
    """Return the series of one measure, each with its slope or the reason for none."""
    # The analysis takes a second to load; nothing else here needs it.
    from server.trend_series import measure_by_id, series_of
    from server.trend_statistics import as_dict

    entry = measure_by_id(measure)
    if entry is None:
        raise Problem(422, errors=[Fault("/measure", NO_MEASURE)])
    series = [as_dict(one) for one in series_of(db, child.id, entry.id)]
    return json_answer({"measure": entry.id, "unit": entry.unit, "series": series})
