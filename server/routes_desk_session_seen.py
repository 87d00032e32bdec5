"""Forms of a session's page for what the adult saw: marks of trials, observations."""

import math
import re
from collections.abc import Iterator
from datetime import datetime
from typing import Annotated, Any
from uuid import UUID, uuid5

from fastapi import APIRouter, Form, Response
from pydantic import BaseModel
from sqlalchemy.orm import Session

from server.deps import Config, Db, LinkedSession, Now, SeenSession, Sender, Therapist
from server.faults import Fault
from server.fields import UUID_PATTERN
from server.mark_taps import OUTCOMES, tapped
from server.page_session_seen import EMPTY, HELP_CHOICES, TICK_WORDS
from server.problems import Problem
from server.routes_desk_session import REFUSALS, back_to, refusal, refused_page
from server.routes_observations import (
    LinkedObservation,
    NewObservation,
    post_observation,
    remove_observation,
)
from server.routes_trials import MarkBody, post_mark
from server.store_marks import latest_marks
from server.store_observations import OTHER_OBSERVATION
from server.store_trials import trial_by_id
from server.tables import Account, MarkRow
from server.trial_forms import (
    NO_KIND,
    NOT_LISTED,
    NOT_WHOLE,
    SENT_BEFORE,
    TOO_LONG,
    MarkDetails,
    Untaken,
    mark_of,
)

router = APIRouter(prefix="/sessions/{session_id}", include_in_schema=False)

NO_MINUTES = "This must be a number of minutes, such as 6."
NO_ACTIVITY = "Say which activity it was."
NO_WORDS = "Write what was said or seen."
NO_TICK = "Tick at least one."
KEPT_BEFORE = (
    "A mark had been kept from this form before, and it was not changed. Look at what the trial "
    "says now, and tap again if it should be different."
)

# Characters; a line that ends counts as one.
MOST_IN_LINE, MOST_IN_TEXT = 200, 2000


class TapForm(MarkDetails):
    """A mark, as a form sends it; `detail` says whether the fields below the row came along."""

    mark_id: str = ""
    tap: str = ""
    detail: str = ""


class ObservationForm(BaseModel):
    """What was observed; `what` says which of the forms it came from."""

    id: str = ""
    what: str = ""
    activity: str = ""
    minutes: str = ""
    help: str = ""
    remark: str = ""
    why: str = ""
    ticks: list[str] = []
    kind: str = ""
    text: str = ""


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
    _check_id(form.mark_id)
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
        raise refusal("tap", NO_KIND)
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
            _noted(account, seen, body, db, now)
    except REFUSALS as error:
        name = form.what if form.what in EMPTY else ""
        # A fault in a field that is not of this form stands with the form as a whole.
        typed = {field: getattr(form, field) for field in EMPTY.get(name, ())}
        return refused_page(db, account, seen, settings, error, form=name, typed=typed)
    return back_to(seen, "observed")


def _noted(
    account: Account, seen: SeenSession, body: NewObservation, db: Session, now: datetime
) -> None:
    try:
        post_observation(account, seen, body, db, now)
    except Problem as problem:
        if problem.detail != OTHER_OBSERVATION:
            raise
        # Somebody went back to the page and changed what was sent from it.
        raise Problem(409, SENT_BEFORE) from None


def _check_id(sent: str) -> None:
    if not re.fullmatch(UUID_PATTERN, sent):
        raise refusal("", NOT_WHOLE)


def _observed(form: ObservationForm) -> Iterator[NewObservation]:
    _check_id(form.id)
    match form.what:
        case "activity":
            yield _activity(form)
        case "rest":
            why = _within(form.why.strip(), "why", MOST_IN_LINE)
            yield _body(form, "rest", text=why or None, minutes=_minutes(form.minutes))
        case "ticks":
            yield from _ticked(form)
        case "words":
            if form.kind not in ("", "said", "remark"):
                raise refusal("kind", NOT_LISTED)
            text = _within("\n".join(_lines(form.text)), "text", MOST_IN_TEXT)
            if not text:
                raise refusal("text", NO_WORDS)
            yield _body(form, form.kind or "remark", text=text)
        case _:
            raise refusal("", NOT_WHOLE)


def _activity(form: ObservationForm) -> NewObservation:
    activity = _within(form.activity.strip(), "activity", MOST_IN_LINE)
    if not activity:
        raise refusal("activity", NO_ACTIVITY)
    remark = _within("\n".join(_lines(form.remark)), "remark", MOST_IN_TEXT)
    given = {value: noted for value, _, noted in HELP_CHOICES}
    if form.help not in given:
        raise refusal("help", NOT_LISTED)
    text = f"{activity}\n{remark}" if remark else activity
    minutes = _minutes(form.minutes)
    return _body(form, "activity", text=text, minutes=minutes, help=given[form.help])


def _ticked(form: ObservationForm) -> Iterator[NewObservation]:
    if not form.ticks:
        raise refusal("ticks", NO_TICK)
    if not set(form.ticks) <= TICK_WORDS.keys():
        raise refusal("ticks", NOT_LISTED)
    for kind in (one for one in TICK_WORDS if one in form.ticks):
        # One form, several observations: each has an id of its own, the same each time.
        own = str(uuid5(UUID(form.id), kind))
        yield NewObservation.model_validate({"id": own, "kind": kind})


def _within(text: str, field: str, most: int) -> str:
    if len(text) > most:
        raise refusal(field, TOO_LONG.format(max_length=most))
    return text


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
        minutes = float(text)
    except ValueError:
        minutes = math.nan
    if not math.isfinite(minutes):
        raise refusal("minutes", NO_MINUTES)
    return minutes


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
