"""Databases of any size for the benchmark of the record: real trials, copied with fresh ids.

A handful of trials is scored by the program; their bytes, reports, facts and values are
then written again and again under new ids. Days run through the whole practice, so that
the trials of one child lie scattered among all others, as they would after years.
"""

import itertools
import secrets
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import orjson
from sqlalchemy import Connection, insert, text

from analysis import ANALYSIS_VERSION
from server.amending import Amended
from server.database import make_engine, make_sessions, upgrade
from server.documents import read_trial
from server.facts import scored
from server.settings import Settings
from server.store_accounts import create_account
from server.store_sessions import save_plan
from server.store_trials import sha256_of
from server.tables import Account, CareLink, Child, MarkRow, SessionRow, TrialRow
from tests.benchmarks.record_notes import fill_cosigned, sign_waiting
from tests.practice import PASSPHRASE, drawn, plan, raw_of

NOW = datetime(2026, 3, 3, 12, 0, tzinfo=UTC)
TODAY = date(2026, 3, 3)
CARER, SUPERVISOR = "ferry", "harbour"
CASELOAD = 14
"""Children of one account."""
SEEN_TODAY = 5
"""How many of the measured account's children have a session today."""
SESSIONS, TRIALS = 12, 5
"""Sessions of a child, trials of a session."""
OWN_TRIALS = CASELOAD * SESSIONS * TRIALS
"""The least number of trials a database can have."""


@dataclass(frozen=True)
class Template:
    """One trial, scored once."""

    raw: bytes
    sha256: str
    report: dict[str, Any]
    facts: dict[str, Any]


def templates() -> list[Template]:
    """Trials of both hands at four distances from the guide."""
    found = []
    for hand, beside_mm in itertools.product(("left", "right"), (0.5, 1.0, 1.5, 2.0)):
        tree = drawn(beside_mm=beside_mm, marks=[])
        tree["condition"]["hand"] = hand
        # Every fourth sample: enough to measure, and a tenth of the bytes.
        for name, column in tree["samples"].items():
            tree["samples"][name] = column[::4]
        raw = raw_of(tree)
        report, facts = scored(Amended(read_trial(raw)), late=False)
        found.append(Template(zlib.compress(raw), sha256_of(raw), report, facts))
    return found


def settings_of(path: Path) -> Settings:
    return Settings(f"sqlite:///{path}", time_zone="UTC")


def fill(path: Path, trial_count: int, *, sessions: list[int] | None = None) -> list[str]:
    """Make a database.

    Parameters
    ----------
    path : Path
        A new file.
    trial_count : int
        All trials. The first account's 14 children have 840 of them, whatever this is; the
        rest belongs to children of other accounts. Its notes of three weeks wait for a
        co-signature, all others were co-signed. [1]
    sessions : list of int or None
        Instead of that: one account, a child for each number, with so many sessions.

    Returns
    -------
    list of str
        Ids of the first account's children.
    """
    settings = settings_of(path)
    upgrade(settings)
    engine = make_engine(settings)
    try:
        with make_sessions(engine)() as db:
            above = create_account(
                db, name=SUPERVISOR, passphrase=PASSPHRASE, roles={"supervisor"}
            ).id
            carer = create_account(
                db,
                name=CARER,
                passphrase=PASSPHRASE,
                roles={"assistant"},
                supervisor_id=above,
            ).id
            db.commit()
        with engine.connect() as connection:
            # Only for filling: the application opens the file with its own settings.
            connection.exec_driver_sql("PRAGMA synchronous = OFF")
            ids = _fill(connection, carer, _sizes(trial_count) if sessions is None else sessions)
            if sessions is None:
                fill_cosigned(connection, carer, above, NOW)
            connection.commit()
        with make_sessions(engine)() as db:
            for row in db.query(SessionRow).filter_by(day=TODAY):
                save_plan(db, row.id, plan())
            if sessions is None:
                sign_waiting(db, carer, NOW, settings)
            db.commit()
        with engine.connect() as connection:
            connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    finally:
        engine.dispose()
    return ids


def _sizes(trial_count: int) -> list[int]:
    """Number of sessions of each child; the first ones are the measured account's. [1]"""
    others = -(-(trial_count - OWN_TRIALS) // (SESSIONS * TRIALS))
    return [SESSIONS] * (CASELOAD + max(others, 0))


def _fill(connection: Connection, carer: str, sizes: list[int]) -> list[str]:
    children = [str(uuid4()) for _ in sizes]
    connection.execute(
        insert(Child),
        [
            {"id": one, "code": f"BW-{at}", "sign": "boat kite", "study_code": f"s{at:010x}"}
            for at, one in enumerate(children)
        ],
    )
    carers = [carer, *(str(uuid4()) for _ in range(len(sizes) // CASELOAD))]
    if len(carers) > 1:
        connection.execute(
            insert(Account),
            [
                {"id": one, "name": f"carer-{at}", "passphrase_hash": "none"}
                for at, one in enumerate(carers[1:])
            ],
        )
    connection.execute(
        insert(CareLink),
        [
            {
                "account_id": carers[at // CASELOAD],
                "child_id": one,
                "from_day": TODAY - timedelta(weeks=max(sizes)),
            }
            for at, one in enumerate(children)
        ],
    )
    _fill_trials(connection, carer, list(_sessions(children, sizes)))
    return children[:CASELOAD]


def _sessions(children: list[str], sizes: list[int]) -> Iterator[dict[str, Any]]:
    """Yield the sessions in the order of their days, a week apart for each child."""
    for week in range(max(sizes) - 1, -1, -1):
        for at, child_id in enumerate(children):
            if week < sizes[at]:
                day = TODAY - timedelta(weeks=week, days=0 if at < SEEN_TODAY else 1)
                yield {
                    "id": str(uuid4()),
                    "child_id": child_id,
                    "plan_id": str(uuid4()),
                    "day": day,
                    "place": "Tidewell School",
                    "position": "seated",
                    **_times(day),
                }


def _times(day: date) -> dict[str, datetime | None]:
    """When a session was; one of today has not begun yet."""
    if day == TODAY:
        return {"started_at": None, "ended_at": None}
    began = datetime.combine(day, time(9, 10), UTC)
    return {"started_at": began, "ended_at": began + timedelta(minutes=28)}


def _fill_trials(connection: Connection, carer: str, sessions: list[dict[str, Any]]) -> None:
    connection.execute(insert(SessionRow), sessions)
    made = templates()
    trials = []
    for session, seq in itertools.product(sessions, range(TRIALS)):
        template = made[(len(trials) + 1) % len(made)]
        trials.append(
            {
                "id": str(uuid4()),
                "session_id": session["id"],
                "seq": seq + 1,
                "received_at": NOW,
                "late": False,
                "sha256": template.sha256,
                "raw": template.raw,
                "export_key": f"t{secrets.token_hex(6)}",
            }
        )
    connection.execute(insert(TrialRow), trials)
    connection.execute(
        insert(MarkRow),
        [
            {
                "id": str(uuid4()),
                "trial_id": trial["id"],
                "account_id": carer,
                "at": NOW,
                "outcome": "finished",
                "help": {"physical": "none"},
            }
            for trial in trials
        ],
    )
    _fill_results(connection, made)


def _fill_results(connection: Connection, made: list[Template]) -> None:
    """Give every trial the result of its template, in the order of arrival."""
    connection.exec_driver_sql("CREATE TEMP TABLE template (number, report, facts)")
    connection.exec_driver_sql("CREATE TEMP TABLE told (number, measure, value, reason)")
    for number, one in enumerate(made):
        connection.exec_driver_sql(
            "INSERT INTO template VALUES (?, ?, ?)",
            (number, orjson.dumps(one.report).decode(), orjson.dumps(one.facts).decode()),
        )
        connection.exec_driver_sql(
            "INSERT INTO told VALUES (?, ?, ?, ?)",
            [
                (number, name, value["value"], value.get("reason"))
                for name, value in one.report["measures"].items()
            ],
        )
    connection.exec_driver_sql("CREATE INDEX temp.told_number ON told (number)")
    size = {"size": len(made)}
    connection.execute(
        text(
            "INSERT INTO result (trial_id, amendment_no, analysis_version, report, facts)"
            " SELECT trial.id, 0, :version, report, facts"
            " FROM trial CROSS JOIN template ON number = arrival % :size ORDER BY arrival"
        ),
        size | {"version": ANALYSIS_VERSION},
    )
    connection.execute(
        text(
            "INSERT INTO measure_value (result_id, measure, value, reason)"
            " SELECT result.id, measure, value, reason FROM result"
            " CROSS JOIN trial ON trial.id = result.trial_id"
            " CROSS JOIN told ON told.number = arrival % :size"
        ),
        size,
    )
