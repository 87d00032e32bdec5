"""The invented scenario: children of Brackwater, six weeks of sessions, goals, a plan for today.

The files are those of ``fixtures/demo``; an installed Linnet carries them as
``server/scenario``. Days are moved by whole weeks so that the last session was two to eight
days ago; nothing else of the recorded trials is changed.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import orjson
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.demo_files import DemoAccounts, accounts_of, read_scenario, read_trials
from server.demo_goals import fill_goals
from server.demo_scoring import all_scored
from server.documents import TrialDocument
from server.facts import Scored, facts_of
from server.library import placed, plan_item, task_of
from server.store_accounts import account_by_name, create_account
from server.store_children import create_child, link
from server.store_consents import add_consent
from server.store_marks import add_mark, latest_marks
from server.store_results import keep, row_of
from server.store_sessions import create_session, save_plan, session_of_plan
from server.store_trials import store_raw
from server.tables import Account, CareLink, Child

Progress = Callable[[int, int], None]

LEAST_DAYS_AGO = 2
OWNER = "owner"


class NotEmpty(RuntimeError):
    """Raised when a database already holds something other than the demo."""


def is_demo(db: Session) -> bool:
    """Return whether a database holds the demo's people, so that it is opened as it is.

    A demo that was kept by an earlier release has no owner; `fill` adds one.
    """
    names = [one["name"] for one in read_scenario()["accounts"] if OWNER not in one["roles"]]
    return all(account_by_name(db, name) is not None for name in names)


def fill(
    db: Session,
    *,
    today: date,
    clock: Callable[[], datetime],
    progress: Progress | None = None,
    workers: int | None = None,
) -> DemoAccounts:
    """Put the scenario into an empty, migrated database; commits as it goes.

    A database that already holds it is left as it is; if filling it was interrupted, the
    trials that are missing are added, and so is the owner if an earlier release filled it.

    Parameters
    ----------
    db : Session
        Database session.
    today : date
        Day of the open session; the others lie before it.
    clock : callable
        Returns now, aware; the open session starts then.
    progress : callable or None
        Called with the trials done so far and the number of all.
    workers : int or None
        Processes that compute; 1 computes here, None chooses by the machine.

    Returns
    -------
    DemoAccounts
        Who can sign in.

    Raises
    ------
    NotEmpty
        If the database holds anything else.
    """
    scenario = read_scenario()
    if not is_demo(db):
        if db.scalar(select(Account.id).limit(1)) is not None:
            raise NotEmpty("the demo needs an empty database, and this one has accounts")
        children = _fill_people(db, scenario, _shift(scenario, today))
        _fill_sessions(db, scenario, children, _shift(scenario, today))
        accounts = _fill_accounts(db, scenario)
        fill_goals(db, scenario, accounts, children, _shift(scenario, today))
        _fill_today(db, scenario, children, today=today, now=clock())
    else:
        _fill_accounts(db, scenario)
    db.commit()
    _fill_trials(db, _owed(db, scenario), progress, workers)
    return accounts_of(scenario)


def _shift(scenario: dict[str, Any], today: date) -> timedelta:
    days = [session["day"] for child in scenario["children"] for session in child["sessions"]]
    latest = today - timedelta(days=LEAST_DAYS_AGO)
    return timedelta(weeks=(latest - date.fromisoformat(max(days))).days // 7)


@dataclass(frozen=True)
class _Owed:
    """A trial of the scenario that is not stored, or not marked, yet."""

    session_id: str
    carer_id: str
    mark: dict[str, Any]
    raw: bytes


def _fill_accounts(db: Session, scenario: dict[str, Any]) -> dict[str, Account]:
    """Add the accounts that are not there yet; return all of the scenario."""
    accounts: dict[str, Account] = {}
    for one in scenario["accounts"]:
        above = one["supervised_by"]
        accounts[one["name"]] = account_by_name(db, one["name"]) or create_account(
            db,
            name=one["name"],
            passphrase=one["passphrase"],
            roles=set(one["roles"]),
            supervisor_id=accounts[above].id if above else None,
        )
    return accounts


def _fill_people(db: Session, scenario: dict[str, Any], shift: timedelta) -> dict[str, Child]:
    accounts, children = _fill_accounts(db, scenario), {}
    fields = ("code", "nickname", "sign", "birth_month", "preferred_hand")
    for one in scenario["children"]:
        row = create_child(db, **{field: one[field] for field in fields})
        link(db, accounts[one["carer"]], row, date.fromisoformat(one["sessions"][0]["day"]) + shift)
        _fill_consents(db, accounts[one["carer"]], row)
        children[one["code"]] = row
    return children


def _fill_consents(db: Session, carer: Account, child: Child) -> None:
    """Every family of the scenario agreed on the day its child was first seen."""
    given_on = db.scalars(select(CareLink.from_day).where(CareLink.child_id == child.id)).one()
    for purpose in ("measuring", "research"):
        add_consent(
            db,
            child_id=child.id,
            purpose=purpose,
            given_on=given_on,
            given_by="parent",
            account_id=carer.id,
            at=datetime.combine(given_on, time(8), UTC),
        )


def _plan(scenario: dict[str, Any], sign: str, items: list[dict[str, Any]], state: str) -> Any:
    tablet = scenario["tablet"]
    return {
        "session_label": sign.split(),
        "items": [
            plan_item(
                task_of(one["task_id"]),
                item_id=one["item_id"],
                guide=placed(
                    task_of(one["task_id"]),
                    corridor_mm=one["corridor_mm"],
                    screen_mm=tablet["screen_mm"],
                    direction=one["condition"]["direction"],
                    midline_x_mm=tablet["midline_x_mm"],
                    hand=one["condition"]["hand"],
                ),
                condition=one["condition"],
                repetitions=one["repetitions"],
                state=state,
            )
            for one in items
        ],
    }


def _fill_sessions(
    db: Session, scenario: dict[str, Any], children: dict[str, Child], shift: timedelta
) -> None:
    dated = [
        (session, children[child["code"]])
        for child in scenario["children"]
        for session in child["sessions"]
    ]
    for session, child in sorted(dated, key=lambda pair: pair[0]["started_at"]):
        ended_at = datetime.fromisoformat(session["ended_at"]) + shift
        row = create_session(
            db,
            child_id=child.id,
            day=date.fromisoformat(session["day"]) + shift,
            place=session["place"],
            position=session["position"],
            started_at=datetime.fromisoformat(session["started_at"]) + shift,
            ended_at=ended_at,
            closed_at=ended_at,
            attendance=session["attendance"],
            plan_id=session["plan_id"],
        )
        save_plan(db, row.id, _plan(scenario, child.sign, session["items"], "closed"))


def _fill_today(
    db: Session,
    scenario: dict[str, Any],
    children: dict[str, Child],
    *,
    today: date,
    now: datetime,
) -> None:
    planned = scenario["today"]
    child = children[planned["child"]]
    row = create_session(
        db,
        child_id=child.id,
        day=today,
        place=planned["place"],
        position=planned["position"],
        started_at=now,
        plan_id=planned["plan_id"],
    )
    save_plan(db, row.id, _plan(scenario, child.sign, planned["items"], "open"))


def _moved(document: dict[str, Any], shift: timedelta) -> bytes:
    started_at = datetime.fromisoformat(document["started_at"]) + shift
    text = started_at.isoformat(timespec="milliseconds").replace("+00:00", "Z")
    return orjson.dumps(document | {"started_at": text})


def _owed(db: Session, scenario: dict[str, Any]) -> list[_Owed]:
    documents = read_trials()
    owed = []
    for child in scenario["children"]:
        carer = account_by_name(db, child["carer"])
        for session in child["sessions"]:
            row = session_of_plan(db, session["plan_id"])
            if row is None or carer is None:
                continue
            shift = row.day - date.fromisoformat(session["day"])
            # The mark is stored last: a trial without one was cut short.
            done = latest_marks(db, [mark["trial_id"] for mark in session["marks"]])
            owed += [
                _Owed(row.id, carer.id, mark, _moved(documents[mark["trial_id"]], shift))
                for mark in session["marks"]
                if mark["trial_id"] not in done
            ]
    return owed


def _fill_trials(
    db: Session, owed: list[_Owed], progress: Progress | None, workers: int | None
) -> None:
    scored = all_scored([one.raw for one in owed], workers)
    for number, (one, (document, report)) in enumerate(zip(owed, scored, strict=True), start=1):
        _store(db, one, document, report)
        if progress is not None:
            progress(number, len(owed))


def _store(db: Session, owed: _Owed, document: TrialDocument, report: dict[str, Any]) -> None:
    received_at = _ended_at(document) + timedelta(seconds=2)
    trial, _ = store_raw(
        db,
        session_id=owed.session_id,
        document=document,
        raw=owed.raw,
        received_at=received_at,
    )
    keep(db, row_of(trial.id, 0, Scored(report, facts_of(document, report))))
    add_mark(
        db,
        mark_id=owed.mark["mark_id"],
        trial_id=trial.id,
        account_id=owed.carer_id,
        at=received_at + timedelta(seconds=10),
        outcome=owed.mark["outcome"],
        why=owed.mark["why"],
        hand_used=owed.mark["hand_used"],
        help_given=owed.mark["help"],
    )


def _ended_at(document: TrialDocument) -> datetime:
    if document.started_at is None:
        raise ValueError("a trial of the demo has no started_at")
    lasted_ms = document.samples.t_ms[-1] if document.samples.t_ms else 0.0
    return datetime.fromisoformat(document.started_at) + timedelta(milliseconds=lasted_ms)
