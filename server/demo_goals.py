"""The goals of the invented scenario, set through the same checks as everybody's."""

from collections.abc import Mapping
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from sqlalchemy.orm import Session

from server.goal_bodies import GoalBody, content_of
from server.store_goals import add_goal
from server.tables import Account, Child

# When in the day a goal was set. (UTC)
SET_AT = time(15, 30)


def fill_goals(
    db: Session,
    scenario: Mapping[str, Any],
    accounts: Mapping[str, Account],
    children: Mapping[str, Child],
    shift: timedelta,
) -> None:
    """Set the goals of the scenario; the caller commits.

    Parameters
    ----------
    db : Session
        Database session.
    scenario : mapping
        The scenario file; each goal is as its door takes it, with `set_by` and `set_on` beside.
    accounts, children : mapping
        By name and by code.
    shift : timedelta
        By how much the days of the scenario are moved.
    """
    for child in scenario["children"]:
        for goal in child["goals"]:
            set_on = date.fromisoformat(goal["set_on"]) + shift
            body = GoalBody.model_validate(_moved(goal["goal"], shift))
            add_goal(
                db,
                children[child["code"]].id,
                content_of(db, body, set_on),
                account_id=accounts[goal["set_by"]].id,
                at=datetime.combine(set_on, SET_AT, UTC),
            )


def _moved(goal: Mapping[str, Any], shift: timedelta) -> dict[str, Any]:
    baseline = goal["baseline"]
    return dict(goal) | {
        "due": _day(goal["due"], shift),
        "baseline": dict(baseline) | {"day": _day(baseline["day"], shift)},
    }


def _day(text: str, shift: timedelta) -> str:
    return (date.fromisoformat(text) + shift).isoformat()
