"""Whether a trial counts towards a criterion, and if not why: one rule for goals and for steps.

Finished trials count, whatever came of them. One that had more help than is allowed counts as
not met, for the help is part of what is asked; one of which nobody said how much help there was
is left out, for silence is not "no help".
"""

from collections.abc import Mapping
from typing import Any, NamedTuple

from analysis.registry import measure
from analysis.report import criterion_row
from analysis.trial import Criterion
from analysis.value import Value
from server.goal_bodies import CUT
from server.goal_matching import HELP_OVER, fits, has_failed, help_reason
from server.store_goals import Measured
from server.store_marks import counts
from server.tables import GoalRow, MarkRow

VOIDED, NOT_MEASURED = "voided", "not_measured"
LEFT_OUT = {
    VOIDED: "Voided: not to be used.",
    "spoilt": "Spoilt: kept, not counted.",
    "stopped": "Stopped: kept, not counted.",
    "not_done": "Not done.",
    "pen_not_cut": "A pen drawn along a cutting line is practice, not cutting.",
    "scoring_failed": "Computing the measures failed.",
    "hand_unknown": "Which hand drew is not known.",
    "help_not_told": "Helped, but how much was not noted.",
    "help_not_noted": "Nobody noted whether there was help.",
    NOT_MEASURED: "This trial gives no value of the measure.",
}
"""Why a trial was not counted, with the sentence a page shows; the first that holds is said."""
# A trial without a goal: setting it up is no help, all else is. As `HelpBody` has it.
NO_HELP: Mapping[str, Any] = {"setup": True, "cues_at_most": {}, "physical_at_most": "none"}


class Standing(NamedTuple):
    """What one trial is worth for one criterion.

    Attributes
    ----------
    met : bool or None
        Whether the criterion is met with no more help than is allowed; None if the trial does
        not count.
    reason : str or None
        Why it does not count, a key of `LEFT_OUT`.
    because : str or None
        Why there is no value, a reason code of the analysis.
    reached : bool or None
        Whether the criterion is met, whatever the help; None if the trial does not count.
    is_over : bool
        Whether a trial that counts had more help than is allowed.
    """

    met: bool | None
    reason: str | None = None
    because: str | None = None
    reached: bool | None = None
    is_over: bool = False


def standing_in_goal(
    goal: GoalRow,
    facts: Mapping[str, Any],
    mark: MarkRow | None,
    measured: Measured | None,
    *,
    voided: bool,
) -> Standing | None:
    """Return what a trial is worth for a goal.

    Parameters
    ----------
    goal : GoalRow
        One version of a goal.
    facts : mapping
        Of the current result of the trial.
    mark : MarkRow or None
        The mark that counts.
    measured : Measured or None
        The goal's measure in this trial; None if its mode does not have the measure.
    voided : bool
        Whether it is not to be used.

    Returns
    -------
    Standing or None
        None if the goal is not about such trials: nothing is to be said of it then.
    """
    hand_known = fits(goal.conditions, facts, mark)
    if hand_known is None or (measured is None and not has_failed(facts)):
        return None
    is_pen = measure(goal.measure).scope != CUT and facts["mode"] == CUT
    reason = _left_out(mark, facts, goal.help, voided=voided, is_pen=is_pen, hand_known=hand_known)
    met = None if measured is None else _criterion_met(goal, measured)
    because = None if measured is None else measured.reason
    return _standing(goal.help, mark, reason, met, because)


def standing_in_task(facts: Mapping[str, Any], mark: MarkRow | None, *, voided: bool) -> Standing:
    """Return what a trial is worth for the criterion of its own task, set-up as the only help.

    Parameters are as in `standing_in_goal`.
    """
    asked = facts["criterion"]
    reason = _left_out(mark, facts, NO_HELP, voided=voided)
    return _standing(NO_HELP, mark, reason, None if asked is None else asked["met"], None)


def _left_out(
    mark: MarkRow | None,
    facts: Mapping[str, Any],
    allowed: Mapping[str, Any],
    *,
    voided: bool,
    is_pen: bool = False,
    hand_known: bool = True,
) -> str | None:
    """Return why a trial does not count, before its value is looked at, or None."""
    if voided:
        return VOIDED
    if mark is not None and not counts(mark):
        return mark.outcome
    if is_pen:
        return "pen_not_cut"
    if has_failed(facts):
        return "scoring_failed"
    if not hand_known:
        return "hand_unknown"
    reason = help_reason(allowed, mark)
    return None if reason == HELP_OVER else reason


def _standing(
    allowed: Mapping[str, Any],
    mark: MarkRow | None,
    reason: str | None,
    reached: bool | None,
    because: str | None,
) -> Standing:
    if reason is not None or reached is None:
        return Standing(None, reason or NOT_MEASURED, because if reason is None else None)
    is_over = help_reason(allowed, mark) == HELP_OVER
    return Standing(reached and not is_over, reached=reached, is_over=is_over)


def _criterion_met(goal: GoalRow, measured: Measured) -> bool | None:
    asked = goal.criterion
    criterion = Criterion(goal.measure, asked.get("at_least"), asked.get("at_most"))
    judged = criterion_row(criterion, {goal.measure: Value(measured.value, measured.reason)})
    return None if judged is None else judged["met"]
