"""What an adult says of a trial at the desk: marks, corrections, voids. Nothing is changed."""

from collections.abc import Callable
from typing import Annotated
from uuid import uuid4

from fastapi import APIRouter, Form, Response
from starlette.responses import RedirectResponse

from server.deps import Config, Db, Now, Sender, Therapist
from server.problems import Problem
from server.receiving import DrawnTrial
from server.routes_corrections import post_amendment, post_void
from server.routes_desk_trial import trial_shown
from server.routes_trials import post_mark
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


def _taken(write: Callable[[], Response]) -> None:
    """Do what the JSON door does; what it refuses becomes sentences beside fields."""
    try:
        write()
    except Problem as problem:
        if problem.status in (403, 404):
            raise
        fields = {fault.path.rpartition("/")[2]: fault.detail for fault in problem.errors}
        raise Untaken(fields or {"": problem.detail}, problem.status) from None


def _back(trial_id: str) -> Response:
    return RedirectResponse(f"/trials/{trial_id}#noted", 303)


@router.post("/marks")
def add_mark(
    form: Annotated[MarkForm, Form()],
    seen: DrawnTrial,
    account: Therapist,
    db: Db,
    now: Now,
    settings: Config,
) -> Response:
    """Note how a trial went, with a form."""
    typed, trial_id = form.model_dump(), seen.trial.id
    try:
        body = mark_of(typed)
        _taken(lambda: post_mark(trial_id, body, Sender(account, None), db, now))
    except Untaken as refused:
        return _again("mark", typed, refused, seen, account, db, settings)
    return _back(trial_id)


@router.post("/amendments")
def amend(
    form: Annotated[AmendmentForm, Form()],
    seen: DrawnTrial,
    account: Therapist,
    db: Db,
    now: Now,
    settings: Config,
) -> Response:
    """Correct what a record says about itself, with a form."""
    typed, trial_id = form.model_dump(), seen.trial.id
    try:
        body = amendment_of(typed)
        _taken(lambda: post_amendment(body, seen, account, db, now))
    except Untaken as refused:
        return _again("amend", typed, refused, seen, account, db, settings)
    return _back(trial_id)


@router.post("/voids")
def void(
    form: Annotated[VoidForm, Form()],
    seen: DrawnTrial,
    account: Therapist,
    db: Db,
    now: Now,
    settings: Config,
) -> Response:
    """Set a trial aside, or use it again, with a form."""
    typed, trial_id = form.model_dump(), seen.trial.id
    try:
        body = void_of(typed)
        _taken(lambda: post_void(body, seen, account, db, now))
    except Untaken as refused:
        return _again("void", typed, refused, seen, account, db, settings)
    return _back(trial_id)


def _again(
    name: str,
    typed: dict[str, str],
    refused: Untaken,
    seen: DrawnTrial,
    account: Therapist,
    db: Db,
    settings: Config,
) -> Response:
    """Show the page again with what was typed, under an id that is free."""
    return trial_shown(
        db,
        seen,
        account,
        settings,
        status=refused.status,
        typed={name: typed | {"id": str(uuid4())}},
        troubles={name: refused.troubles},
    )
