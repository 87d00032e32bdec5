"""The page of one trial: looked at, replayed, laid beside another, taken away on paper."""

from collections.abc import Mapping
from datetime import datetime
from typing import Literal

from fastapi import APIRouter, Response
from sqlalchemy.orm import Session

from server import audit
from server.deps import Config, Db, Now, SeenTrial, Therapist, seen_trial
from server.downloads import pdf_answer
from server.receiving import DrawnTrial, drawn_trial
from server.routes_pages import NEVER_CACHED, page
from server.routes_trials import json_answer
from server.settings import Settings
from server.tables import Account

# Reading reports and drawing need the analysis, which takes a second to load.

router = APIRouter(prefix="/trials/{trial_id}", include_in_schema=False)

HERE = "/caseload"
SVG = "image/svg+xml"
Size = Literal["wide", "narrow"]
NOTHING: Mapping[str, Mapping[str, str]] = {}


def trial_shown(
    db: Session,
    seen: SeenTrial,
    account: Account,
    settings: Settings,
    *,
    status: int = 200,
    typed: Mapping[str, Mapping[str, str]] = NOTHING,
    troubles: Mapping[str, Mapping[str, str]] = NOTHING,
) -> Response:
    """Return the page of a trial; `typed` and `troubles` are of a form that was not taken."""
    from server.beside_lines import others_of
    from server.page_trial import trial_page
    from server.page_trial_said import said_words

    words = trial_page(db, seen) | said_words(db, seen, settings, typed, troubles)
    return page("trial.html", account, HERE, status, others=others_of(db, seen), **words)


@router.get("")
def show_trial(seen: DrawnTrial, account: Therapist, db: Db, settings: Config) -> Response:
    """Show a trial: sentence, picture, replay, readings, measures, what was noted."""
    return trial_shown(db, seen, account, settings)


@router.get("/narrow.svg")
def show_narrow_picture(seen: DrawnTrial, db: Db) -> Response:
    """Draw a trial for the width of a phone; the other pictures are under ``/api``."""
    from analysis.workings import Workings
    from server.figures import render, trial_figure
    from server.store_trials import amended_document, report_of

    workings = Workings(amended_document(db, seen.trial).measured.to_trial())
    return _picture(render(trial_figure(workings, report_of(db, seen.trial), narrow=True), "svg"))


def _picture(svg: bytes) -> Response:
    return Response(svg, headers=NEVER_CACHED, media_type=SVG)


@router.get("/replay.json")
def read_replay(seen: DrawnTrial, db: Db) -> Response:
    """Return what the replay draws: what was asked, samples as they were measured, events."""
    from analysis.workings import Workings
    from server.replay import replay_of
    from server.store_trials import amended_document, report_of

    workings = Workings(amended_document(db, seen.trial).measured.to_trial())
    return json_answer(replay_of(workings, report_of(db, seen.trial)))


@router.get("/report.pdf")
def read_report_pdf(
    seen: DrawnTrial, account: Therapist, db: Db, now: Now, settings: Config
) -> Response:
    """Return the report of a trial for paper."""
    from server.page_trial_report import trial_report
    from server.page_trial_said import said_words

    body = trial_report(db, seen, said_words(db, seen, settings, NOTHING, NOTHING))
    trial_id = seen.trial.id
    audit.note(db, now, account.id, "exported", "trial", trial_id, child_id=seen.child.id)
    db.commit()
    return pdf_answer(body, "trial")


def _pair(
    db: Session, now: datetime, account: Account, seen: SeenTrial, other_id: str
) -> SeenTrial:
    """Return the other trial, noted as looked at, if the two may be laid over each other."""
    from server.page_beside import check_pair

    other = drawn_trial(seen_trial(db, account, other_id))
    check_pair(db, seen, other)
    audit.note_look(db, now, account.id, other.trial.kind, other_id, child_id=other.child.id)
    return other


@router.get("/beside/{other_id}")
def show_beside(seen: DrawnTrial, other_id: str, account: Therapist, db: Db, now: Now) -> Response:
    """Show two trials of the same child and path: pictures over each other, numbers in a table."""
    from server.page_beside import beside_page

    other = _pair(db, now, account, seen, other_id)
    return page("beside.html", account, HERE, **beside_page(db, seen, other))


@router.get("/beside/{other_id}/{size}.svg")
def show_beside_picture(
    seen: DrawnTrial, other_id: str, size: Size, account: Therapist, db: Db, now: Now
) -> Response:
    """Draw two trials over each other, for a wide or a narrow screen."""
    from analysis.workings import Workings
    from server.beside_lines import pair_words
    from server.figures import render
    from server.figures_beside import beside_figure
    from server.store_trials import amended_document

    other = _pair(db, now, account, seen, other_id)
    trials = [amended_document(db, one.trial).measured.to_trial() for one in (seen, other)]
    figure = beside_figure(
        [Workings(trial) for trial in trials],
        [line.words for line in pair_words(db, seen, other)],
        calibrated=all(trial.device.calibrated for trial in trials),
        narrow=size == "narrow",
    )
    return _picture(render(figure, "svg"))
