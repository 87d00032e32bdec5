"""What a request says of a goal, and what cannot be a goal."""

from collections.abc import Iterator
from datetime import date
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import Field
from sqlalchemy.orm import Session

from server.faults import Fault
from server.fields import Code, Direction, Hand, Label, Number, Width
from server.problems import Problem
from server.request_fields import Body, Day, Reason, Uuid, Words

if TYPE_CHECKING:
    from analysis.measure import Measure

MOST_TRIALS = 50
# What tells that a measure means nothing without the width it was taken at.
OF_A_WIDTH = frozenset({"corridor", "band"})
# A measure that needs no more than this is the same whoever draws.
OF_THE_GUIDE = frozenset({"guide", "corridor"})
OPEN: Literal["open"] = "open"
# The mode of a task for scissors, and the scope of a measure of what was cut.
CUT = "cut"

NO_MEASURE = "This must be the id of a measure of one trial or of one cut; see linnet measures."
OF_PEN_STROKES = "A pen drawn along a cutting line is practice: no goal can rest on this measure."
OF_GUIDE = "This measure is one of the path, whoever draws on it: no goal can rest on it."
NO_BOUND = "A criterion needs at_least, at_most or both."
CROSSED = "This must not be below at_least."
# Parts of a whole whose ids do not say so.
SHARES = ("completion", "cut_overlap")
A_SHARE = "This must be a share from 0 to 1."
OTHER_UNIT = "This must be the unit of the measure."
MORE_THAN_ALL = "This must not be above n."
NO_WIDTH = "This measure means nothing without the width of the path: give its full width in mm."
TO_COME = "This day is still to come."
PAST = "This day is over: an open goal needs one to come, or none."
TOO_FEW_DAYS = "There are fewer days until then than the goal asks for."

Times = Annotated[int, Field(strict=True, ge=1, le=MOST_TRIALS)]
CueCount = Annotated[int, Field(strict=True, ge=0, le=1000)]
TrialCount = Annotated[int, Field(strict=True, ge=0, le=1000)]
Bound = Annotated[Number, Field(strict=True)]
Physical = Literal["none", "minimal", "moderate", "maximal", "total"]
Status = Literal["open", "met", "continued", "changed", "stopped"]


class CriterionBody(Body):
    """A bound on the measure; its unit may be said, and must then be the measure's own."""

    at_least: Bound | None = None
    at_most: Bound | None = None
    unit: Words | None = None


class ConditionsBody(Body):
    """What trials must have been like to count; what is not given may be anything."""

    task_id: Code | None = None
    guide_id: Code | None = None
    corridor_mm: Annotated[Width, Field(strict=True)] | None = None
    hand: Hand | None = None
    direction: Direction | None = None
    position: Label | None = None
    tool: Label | None = None


class CuesBody(Body):
    """How many cues of each kind a trial may have had."""

    verbal: CueCount = 0
    gesture: CueCount = 0
    demonstration: CueCount = 0


class HelpBody(Body):
    """How much help a trial may have had: set-up yes, else none, unless said otherwise."""

    setup: Annotated[bool, Field(strict=True)] = True
    cues_at_most: CuesBody = Field(default_factory=CuesBody)
    physical_at_most: Physical = "none"


class BaselineBody(Body):
    """How often the criterion was met before, on which day, and what was measured then."""

    k: TrialCount
    n: Annotated[int, Field(strict=True, ge=1, le=1000)]
    day: Day
    value: Bound | None = None


class GoalBody(Body):
    """A goal: a measure with its criterion, met in k of n finished trials on some days."""

    measure: Label
    criterion: CriterionBody
    k: Times
    n: Times
    days: Times = 1
    conditions: ConditionsBody = Field(default_factory=ConditionsBody)
    help: HelpBody = Field(default_factory=HelpBody)
    purpose: Reason
    due: Day | None = None
    baseline: BaselineBody | None = None
    status: Status = OPEN


class NewGoalBody(GoalBody):
    """A goal that is to be set: whoever may send it twice gives it an id, a UUID."""

    id: Uuid | None = None


class VersionBody(GoalBody):
    """A goal as it is to be from now on, and the version it was made from."""

    based_on: Annotated[int, Field(strict=True, ge=1, le=2**31 - 1)]


def content_of(db: Session, body: GoalBody, today: date) -> dict[str, Any]:
    """Return what a goal says, as its table keeps it.

    Parameters
    ----------
    db : Session
        Database session: tasks of the practice's own are looked up.
    body : GoalBody
        From a request.
    today : date
        The practice's day.

    Returns
    -------
    dict
        Columns of `GoalRow`; the criterion holds the unit, help holds what was not said too.

    Raises
    ------
    Problem
        422 with everything that does not fit together.
    """
    from analysis.registry import measure
    from server.goal_fitting import fitting_faults

    faults = list(_faults(body, today))
    if body.status == OPEN:
        # One that ended may say what could not be set any more.
        faults += [*_due_faults(body, today), *fitting_faults(db, body)]
    if faults:
        raise Problem(422, errors=faults)
    return _content(body, measure(body.measure).unit)


def content_as_sent(body: GoalBody) -> dict[str, Any] | None:
    """Return what a goal says as its table keeps it, whether it can be set now or not.

    Parameters
    ----------
    body : GoalBody
        From a request.

    Returns
    -------
    dict or None
        As of `content_of`; None if there is no such measure.
    """
    from analysis.registry import MEASURES

    unit = next((one.unit for one in MEASURES if one.id == body.measure), None)
    return None if unit is None else _content(body, unit)


def _content(body: GoalBody, unit: str) -> dict[str, Any]:
    content = body.model_dump(exclude={"id", "based_on", "criterion", "conditions", "baseline"})
    bounds = body.criterion.model_dump(exclude_none=True)
    content["criterion"] = bounds | {"unit": unit}
    content["conditions"] = body.conditions.model_dump(exclude_none=True)
    baseline = body.baseline
    content["baseline"] = None if baseline is None else baseline.model_dump(mode="json")
    return content


def _faults(body: GoalBody, today: date) -> Iterator[Fault]:
    yield from _measure_faults(body)
    yield from _bound_faults(body)
    for name in ("k", "days"):
        if getattr(body, name) > body.n:
            yield Fault(f"/{name}", MORE_THAN_ALL)
    if body.baseline is not None:
        if body.baseline.k > body.baseline.n:
            yield Fault("/baseline/k", MORE_THAN_ALL)
        if body.baseline.day > today:
            yield Fault("/baseline/day", TO_COME)


def _due_faults(body: GoalBody, today: date) -> Iterator[Fault]:
    if body.due is None:
        return
    days_left = (body.due - today).days + 1
    if days_left < 1:
        yield Fault("/due", PAST)
    elif days_left < body.days and isinstance(body, NewGoalBody):
        yield Fault("/due", TOO_FEW_DAYS)


def speaks_against(entry: "Measure | None") -> str | None:
    """Return why no goal can rest on a measure, whatever the task, or None.

    Parameters
    ----------
    entry : Measure or None
        Of the registry; None if it has no such measure.

    Returns
    -------
    str or None
        One sentence.
    """
    from analysis.registry import needs_of

    if entry is None or entry.scope == "series":
        return NO_MEASURE
    if entry.scope == "trial" and entry.modes == {CUT}:
        return OF_PEN_STROKES
    return OF_GUIDE if entry.scope == "trial" and needs_of(entry) <= OF_THE_GUIDE else None


def _measure_faults(body: GoalBody) -> Iterator[Fault]:
    # The analysis takes a second to load; nothing else here needs it.
    from analysis.registry import MEASURES, needs_of

    entry = next((one for one in MEASURES if one.id == body.measure), None)
    said = speaks_against(entry)
    if said is not None and not (said == OF_GUIDE and body.status != OPEN):
        yield Fault("/measure", said)
    if entry is None or said == NO_MEASURE:
        return
    if body.criterion.unit not in (None, entry.unit):
        yield Fault("/criterion/unit", OTHER_UNIT)
    if needs_of(entry) & OF_A_WIDTH and body.conditions.corridor_mm is None:
        yield Fault("/conditions/corridor_mm", NO_WIDTH)


def _bound_faults(body: GoalBody) -> Iterator[Fault]:
    low, high = body.criterion.at_least, body.criterion.at_most
    if low is None and high is None:
        yield Fault("/criterion", NO_BOUND)
    if low is not None and high is not None and high < low:
        yield Fault("/criterion/at_most", CROSSED)
    if body.measure.endswith("_share") or body.measure in SHARES:
        for name, bound in (("at_least", low), ("at_most", high)):
            # Percent written for a share could never be met, or always.
            if bound is not None and not 0 <= bound <= 1:
                yield Fault(f"/criterion/{name}", A_SHARE)
