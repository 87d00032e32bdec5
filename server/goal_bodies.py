"""What a request says of a goal, and what cannot be a goal."""

from collections.abc import Iterator
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import Field

from server.faults import Fault
from server.fields import Code, Direction, Hand, Label, Number, Width
from server.problems import Problem
from server.request_fields import Body, Day, Reason, Words

MOST_TRIALS = 50
# What tells that a measure means nothing without the width it was taken at.
OF_A_WIDTH = frozenset({"corridor", "band"})

NO_MEASURE = "This must be the id of a measure of one trial or of one cut; see linnet measures."
OF_PEN_STROKES = "A pen drawn along a cutting line is practice: no goal can rest on this measure."
NO_BOUND = "A criterion needs at_least, at_most or both."
CROSSED = "This must not be below at_least."
# Parts of a whole whose ids do not say so.
SHARES = ("completion", "cut_overlap")
A_SHARE = "This must be a share from 0 to 1."
OTHER_UNIT = "This must be the unit of the measure."
MORE_THAN_ALL = "This must not be above n."
NO_WIDTH = "This measure means nothing without the width of the path: give its full width in mm."
TO_COME = "This day is still to come."

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
    status: Status = "open"


class VersionBody(GoalBody):
    """A goal as it is to be from now on, and the version it was made from."""

    based_on: Annotated[int, Field(strict=True, ge=1, le=2**31 - 1)]


def content_of(body: GoalBody, today: date) -> dict[str, Any]:
    """Return what a goal says, as its table keeps it.

    Parameters
    ----------
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

    faults = list(_faults(body, today))
    if faults:
        raise Problem(422, errors=faults)
    content = body.model_dump(exclude={"based_on", "criterion", "conditions", "baseline"})
    bounds = body.criterion.model_dump(exclude_none=True)
    content["criterion"] = bounds | {"unit": measure(body.measure).unit}
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


def _measure_faults(body: GoalBody) -> Iterator[Fault]:
    # The analysis takes a second to load; nothing else here needs it.
    from analysis.registry import MEASURES, needs_of

    entry = next((one for one in MEASURES if one.id == body.measure), None)
    if entry is None or entry.scope == "series":
        yield Fault("/measure", NO_MEASURE)
        return
    if entry.scope == "trial" and entry.modes == {"cut"}:
        yield Fault("/measure", OF_PEN_STROKES)
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
