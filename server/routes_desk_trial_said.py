"""What an adult says of a trial at the desk: marks, corrections, voids. Nothing is changed."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated
from uuid import uuid4

from fastapi import APIRouter, Depends, Form, Response
from pydantic import BaseModel
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse

from server.deps import Config, Db, Now, SeenTrial, Sender, Therapist
from server.problems import Problem
from server.receiving import DrawnTrial
from server.routes_corrections import post_amendment, post_void
from server.routes_desk_trial import trial_shown
from server.routes_trials import post_mark
from server.settings import Settings
from server.tables import Account
from server.trial_forms import (
    AmendmentForm,
    MarkForm,
    Untaken,
    VoidForm,
    amendment_of,
    mark_of,
    void_of,
)

router = APIRouter(prefix="/trials/{trial_id}", include_in_schema=False)

NOT_OF_THE_FORM = (403, 404, 410)
# Sentences that stand with several fields at once; and fields that nobody sees.
PLACES, HIDDEN = ("help", "patch"), {"id", "voided"}


@dataclass(frozen=True)
class Place:
    """What every form about a trial has: which trial, who says it, when, and the database."""

    seen: SeenTrial
    account: Account
    db: Session
    now: datetime
    settings: Settings


def _place(seen: DrawnTrial, account: Therapist, db: Db, now: Now, settings: Config) -> Place:
    return Place(seen, account, db, now, settings)


Here = Annotated[Place, Depends(_place)]
Write = Callable[[dict[str, str]], Response]


def _answer(here: Place, name: str, form: BaseModel, write: Write) -> Response:
    """Write what a form says and go back; or show the page again with what was typed.

    Parameters
    ----------
    here : Place
        Of the request.
    name : {"mark", "amend", "void"}
        Which form.
    form : BaseModel
        As it was sent.
    write : callable
        Reads what was typed and does what the JSON door does.

    Returns
    -------
    Response
        303, or the page with sentences beside the fields, under an id that is free.

    Raises
    ------
    Problem
        What no other words in the form could mend.
    """
    typed, trial_id = form.model_dump(), here.seen.trial.id
    try:
        write(typed)
    except (Untaken, Problem) as error:
        refused = _refused(error)
    else:
        return RedirectResponse(f"/trials/{trial_id}#noted", 303)
    here.db.rollback()
    places = {*typed, *PLACES} - HIDDEN
    return trial_shown(
        here.db,
        here.seen,
        here.account,
        here.settings,
        status=refused.status,
        typed={name: typed | {"id": str(uuid4())}},
        troubles={name: {at if at in places else "": why for at, why in refused.troubles.items()}},
    )


def _refused(error: Untaken | Problem) -> Untaken:
    if isinstance(error, Untaken):
        return error
    if error.status in NOT_OF_THE_FORM:
        raise error
    found = {at.rpartition("/")[2]: why for at, why in error.by_place.items()}
    return Untaken(found, error.status)


@router.post("/marks")
def add_mark(form: Annotated[MarkForm, Form()], here: Here) -> Response:
    """Note how a trial went, with a form."""

    def write(typed: dict[str, str]) -> Response:
        sender = Sender(here.account, None)
        return post_mark(here.seen.trial.id, mark_of(typed), sender, here.db, here.now)

    return _answer(here, "mark", form, write)


@router.post("/amendments")
def amend(form: Annotated[AmendmentForm, Form()], here: Here) -> Response:
    """Correct what a record says about itself, with a form."""

    def write(typed: dict[str, str]) -> Response:
        return post_amendment(amendment_of(typed), here.seen, here.account, here.db, here.now)

    return _answer(here, "amend", form, write)


@router.post("/voids")
def void(form: Annotated[VoidForm, Form()], here: Here) -> Response:
    """Set a trial aside, or use it again, with a form."""

    def write(typed: dict[str, str]) -> Response:
        return post_void(void_of(typed), here.seen, here.account, here.db, here.now)

    return _answer(here, "void", form, write)
