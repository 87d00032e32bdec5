"""How far a goal has come: k of n over the trials that count, and what was left out and why."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from analysis.goals import criterion_met_share
from analysis.proportions import wilson_interval
from analysis.registry import measure
from analysis.report import rounded
from analysis.value import REASONS, Refused
from server.goal_bodies import CUT
from server.goal_counting import LEFT_OUT, Standing, standing_in_goal
from server.store_goals import measured_of, trials_since
from server.store_marks import latest_marks
from server.store_results import facts_with
from server.store_trials import results_of
from server.store_voids import voided_ids
from server.tables import GoalRow


class Try(NamedTuple):
    """A trial that is like the goal asks for.

    Attributes
    ----------
    trial_id : str
        Which trial.
    day : date
        Of its session.
    value : float or None
        Of the goal's measure. [unit of the measure]
    standing : Standing
        Whether it counts, and whether the goal is met in it.
    """

    trial_id: str
    day: date
    value: float | None
    standing: Standing

    @property
    def met(self) -> bool | None:
        """Whether the goal is met in it; None if it does not count."""
        return self.standing.met


def since_of(versions: Sequence[GoalRow], begun: date) -> date:
    """Return the first day whose trials count towards a goal.

    Parameters
    ----------
    versions : sequence of GoalRow
        All versions of the goal, newest last.
    begun : date
        The practice's day on which the goal was set.

    Returns
    -------
    date
        That day, or the day after the baseline's if that is later: the baseline itself is no
        progress.
    """
    baseline = versions[-1].baseline
    if baseline is None:
        return begun
    return max(begun, date.fromisoformat(baseline["day"]) + timedelta(days=1))


def progress_of(
    db: Session, goal: GoalRow, since: date, *, session_id: str | None = None
) -> dict[str, Any]:
    """Return how far a goal has come, in plain types.

    Parameters
    ----------
    db : Session
        Database session.
    goal : GoalRow
        One version of a goal.
    since : date
        First day whose trials count.
    session_id : str or None
        Only the trials of this session, if one is given.

    Returns
    -------
    dict
        ``latest``: k of the latest n trials that count, on how many days, with the share and
        its 95 % interval by Wilson; ``reason`` is ``too_few_trials`` as long as there are fewer
        than the goal asks for; ``over`` of the n had more help than the goal allows, which
        counts as not met. ``by_day``: the same counts day by day. ``left_out``: how many
        trials of the goal were not counted, by reason. Whether the goal is reached is said by
        a person, in its status.
    """
    tries = _tries(db, goal, since, session_id)
    counted = [one for one in tries if one.met is not None]
    entry = measure(goal.measure)
    width_mm = goal.conditions.get("corridor_mm")
    return {
        "goal_id": goal.id,
        "version": goal.version,
        "measure": goal.measure,
        "label": entry.label,
        "unit": entry.unit,
        "criterion": goal.criterion,
        "each_side_mm": None if width_mm is None else width_mm / 2,
        "since": since.isoformat(),
        "wanted": {"k": goal.k, "n": goal.n, "days": goal.days},
        "counted": len(counted),
        "latest": _latest(counted, goal.n),
        "by_day": _by_day(counted),
        "left_out": _left_out(tries),
    }


def _tries(db: Session, goal: GoalRow, since: date, session_id: str | None) -> list[Try]:
    kind = CUT if measure(goal.measure).scope == CUT else "trial"
    found = trials_since(db, goal.child_id, kind, since, session_id=session_id)
    days = {trial.id: day for trial, day in found}
    trials = [trial for trial, _ in found]
    results = list(results_of(db, trials, reports=False))
    measured = measured_of(db, (result for _, result in results), goal.measure)
    marks, voided = latest_marks(db, list(days)), voided_ids(db, list(days))
    tries = []
    for trial, result in results:
        value = measured.get(trial.id)
        standing = standing_in_goal(
            goal,
            facts_with(result),
            marks.get(trial.id),
            value,
            voided=trial.id in voided,
        )
        if standing is not None:
            number = None if value is None else value.value
            tries.append(Try(trial.id, days[trial.id], number, standing))
    return tries


def _latest(counted: Sequence[Try], n: int) -> dict[str, Any]:
    window = counted[-n:]
    met = [one.met for one in window]
    k, so_far = sum(one is True for one in met), len(window)
    told: dict[str, Any] = {
        "k": k,
        "n": so_far,
        "over": sum(one.standing.is_over for one in window),
        "days": len({one.day for one in window}),
        "share": None,
        "low": None,
        "high": None,
        "reason": None,
        "trials": [
            {
                "trial_id": one.trial_id,
                "day": one.day.isoformat(),
                "value": one.value,
                "met": one.met,
                "over": one.standing.is_over,
            }
            for one in window
        ],
    }
    try:
        share = criterion_met_share(met, n)
    except Refused as refused:
        told["reason"] = refused.code
        if so_far:
            low, high = wilson_interval(k, so_far)
            told |= {"low": rounded(low), "high": rounded(high)}
        return told
    low, high = rounded(share.low), rounded(share.high)
    return told | {"share": rounded(share.number), "low": low, "high": high}


def _by_day(counted: Sequence[Try]) -> list[dict[str, Any]]:
    days: dict[date, list[Try]] = defaultdict(list)
    for one in counted:
        days[one.day].append(one)
    return [
        {
            "day": day.isoformat(),
            "k": sum(one.met is True for one in tries),
            "n": len(tries),
            "over": sum(one.standing.is_over for one in tries),
        }
        for day, tries in sorted(days.items())
    ]


def _left_out(tries: Sequence[Try]) -> list[dict[str, Any]]:
    groups: Mapping[tuple[str, str | None], list[str]] = defaultdict(list)
    for one in tries:
        reason, because = one.standing.reason, one.standing.because
        if reason is not None:
            groups[reason, because].append(one.trial_id)
    order = list(LEFT_OUT)
    found = sorted(groups.items(), key=lambda group: (order.index(group[0][0]), group[0][1] or ""))
    return [
        {
            "reason": reason,
            "words": LEFT_OUT[reason],
            "because": because,
            "because_words": None if because is None else REASONS[because],
            "count": len(trial_ids),
            "trial_ids": trial_ids,
        }
        for (reason, because), trial_ids in found
    ]
