"""Forms of a session's page for what the adult saw: marks of trials, observations."""

from collections.abc import Iterator
from datetime import datetime
from typing import Annotated, Any
from uuid import UUID, uuid5

from fastapi import APIRouter, Form, Response
from pydantic import BaseModel, Field
from sqlalchemy.orm import Session

from server.deps import Config, Db, LinkedSession, Now, Sender, Therapist
from server.faults import Fault
from server.fields import UUID_PATTERN
from server.mark_taps import OUTCOMES, tapped
from server.page_session_seen import EMPTY, HELP_CHOICES, TICK_WORDS
from server.problems import Problem
from server.routes_desk_session import REFUSALS, back_to, refused_page
from server.routes_observations import (
    LinkedObservation,
    NewObservation,
    post_observation,
    remove_observation,
)
from server.routes_trials import MarkBody, post_mark
from server.store_marks import latest_marks
from server.store_trials import trial_by_id
from server.tables import Account, MarkRow
from server.trial_forms import NO_KIND, MarkDetails, Untaken, mark_of

router = APIRouter(prefix="/sessions/{session_id}", include_in_schema=False)

NO_MINUTES = "This must be a number of minutes, such as 6."
NO_ACTIVITY = "Say which activity it was."
NO_WORDS = "Write what was said or seen."
NO_TICK = "Tick at least one."
KEPT_BEFORE = (
    "A mark had been kept from this form before, and it was not changed. Look at what the trial "
    "says now, and tap again if it should be different."
)

Id = Annotated[str, Field(pattern=UUID_PATTERN, max_length=36)]
Word = Annotated[str, Field(max_length=20)]


class TapForm(MarkDetails):
    """A mark, as a form sends it; `detail` says whether the fields below the row came along."""

    mark_id: Id
    tap: Word = ""
    detail: Word = ""


class ObservationForm(BaseModel):
    """What was observed; `what` says which of the forms it came from."""

    id: Id
    what: Word = ""
    activity: Annotated[str, Field(max_length=200)] = ""
    minutes: Word = ""
    help: Word = ""
    remark: Annotated[str, Field(max_length=2000)] = ""
    why: Annotated[str, Field(max_length=200)] = ""
    ticks: list[Annotated[str, Field(max_length=40)]] = Field(default=[], max_length=20)
    kind: Word = ""
    text: Annotated[str, Field(max_length=2000)] = ""


@router.post("/trials/{trial_id}/mark")
def mark_trial(
    trial_id: str,
    account: Therapist,
    seen: LinkedSession,
    form: Annotated[TapForm, Form()],
    db: Db,
    now: Now,
    settings: Config,
) -> Response:
    """Mark a trial: one tap, or one with what is said in detail."""
    trial = trial_by_id(db, trial_id)
    if trial is None or trial.session_id != seen.session.id:
        raise Problem(404)
    try:
        _marked(db, account, trial_id, form, now)
    except REFUSALS as error:
        # What is wrong with all the help at once has a place of its own.
        typed = form.model_dump() | {"trial_id": trial_id, "help": ""}
        return refused_page(db, account, seen, settings, error, form="mark", typed=typed)
    return back_to(seen, f"trial-{trial_id}")


def _marked(db: Session, account: Account, trial_id: str, form: TapForm, now: datetime) -> None:
    before = latest_marks(db, [trial_id]).get(trial_id)
    body = _said(form) if form.detail else _tapped(before, form)
    if before is not None and before.id == form.mark_id:
        # Sent twice: the same again is fine, and another one is told of.
        _check_same(before, body)
        return
    try:
        answer = post_mark(trial_id, body, Sender(account, None), db, now)
    except Problem as problem:
        if problem.status == 409:
            raise Problem(409, KEPT_BEFORE) from None
        raise
    if answer.status_code == 200:
        # It was kept earlier, and another one counts since.
        raise Problem(409, KEPT_BEFORE)


def _tapped(before: MarkRow | None, form: TapForm) -> MarkBody:
    if form.tap not in OUTCOMES:
        raise _refused("tap", NO_KIND)
    return tapped(before, form.tap, form.mark_id)


def _said(form: TapForm) -> MarkBody:
    try:
        return mark_of(form.model_dump() | {"id": form.mark_id, "kind": form.tap})
    except Untaken as error:
        names = {"kind": "tap"}
        faults = [Fault(f"/{names.get(at, at)}", said) for at, said in error.troubles.items()]
        raise Problem(error.status, errors=faults) from None


def _check_same(before: MarkRow, again: MarkBody) -> None:
    given = None if again.help is None else again.help.model_dump(exclude_none=True)
    same = (again.outcome, again.why, again.hand_used, given)
    if same != (before.outcome, before.why, before.hand_used, before.help):
        raise Problem(409, KEPT_BEFORE)


@router.post("/observations")
def observe(
    account: Therapist,
    seen: LinkedSession,
    form: Annotated[ObservationForm, Form()],
    db: Db,
    now: Now,
    settings: Config,
) -> Response:
    """Keep what was observed: an activity, a rest, ticks, words."""
    try:
        for body in _observed(form):
            post_observation(account, seen, body, db, now)
    except REFUSALS as error:
        name = form.what if form.what in EMPTY else ""
        # A fault in a field that is not of this form stands with the form as a whole.
        typed = {field: getattr(form, field) for field in EMPTY.get(name, ())}
        return refused_page(db, account, seen, settings, error, form=name, typed=typed)
    return back_to(seen, "observed")


def _observed(form: ObservationForm) -> Iterator[NewObservation]:
    match form.what:
        case "activity":
            if not form.activity.strip():
                raise _refused("activity", NO_ACTIVITY)
            lines = [form.activity.strip(), *_lines(form.remark)]
            given = {value: noted for value, _, noted in HELP_CHOICES}
            if form.help not in given:
                raise Problem(422)
            yield _body(
                form,
                "activity",
                text="\n".join(lines),
                minutes=_minutes(form.minutes),
                help=given[form.help],
            )
        case "rest":
            why = form.why.strip() or None
            yield _body(form, "rest", text=why, minutes=_minutes(form.minutes))
        case "ticks":
            kinds = [kind for kind in TICK_WORDS if kind in form.ticks]
            if not kinds:
                raise _refused("ticks", NO_TICK)
            for kind in kinds:
                # One form, several observations: each has an id of its own, the same each time.
                own = str(uuid5(UUID(form.id), kind))
                yield NewObservation.model_validate({"id": own, "kind": kind})
        case "words":
            kind = form.kind if form.kind in ("said", "remark") else "remark"
            text = "\n".join(_lines(form.text))
            if not text:
                raise _refused("text", NO_WORDS)
            yield _body(form, kind, text=text)
        case _:
            raise Problem(422)


def _body(form: ObservationForm, kind: str, **values: Any) -> NewObservation:
    return NewObservation.model_validate({"id": form.id, "kind": kind, **values})


def _lines(text: str) -> list[str]:
    # A browser ends the lines of a form with two characters; text here ends them with one.
    return [line.strip() for line in text.strip().splitlines() if line.strip()]


def _minutes(text: str) -> float | None:
    text = text.strip().replace(",", ".")
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        raise _refused("minutes", NO_MINUTES) from None


@router.post("/observations/{observation_id}/remove")
def take_back(
    account: Therapist,
    seen: LinkedSession,
    noted: LinkedObservation,
    db: Db,
    now: Now,
    settings: Config,
) -> Response:
    """Take an observation back."""
    if noted.row.session_id != seen.session.id:
        raise Problem(404)
    try:
        remove_observation(account, noted, db, now)
    except REFUSALS as error:
        return refused_page(db, account, seen, settings, error, form="noted", typed={})
    return back_to(seen, "observed")


def _refused(field: str, sentence: str) -> Problem:
    return Problem(422, errors=[Fault(f"/{field}", sentence)])
