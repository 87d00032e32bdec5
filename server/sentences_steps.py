"""One rung of a task's ladder, in words."""

from server.library_steps import CORRIDOR, DIAMETER, HALF_BAND, SNIPS, Step
from server.numbers import NO_BREAK, each_side, trimmed
from server.wording import plural


def step_words(step: Step) -> str:
    """Return one rung of a task's ladder in words; of a task without a ladder its length.

    Parameters
    ----------
    step : Step
        One of `server.library_steps.steps_of`.

    Returns
    -------
    str
        Without the name of the task.

    Examples
    --------
    >>> step_words(Step(CORRIDOR, 8.0, "mm", 8.0)).replace(NO_BREAK, " ")
    '4 mm each side'
    >>> step_words(Step(DIAMETER, 12.0, "mm", None)).replace(NO_BREAK, " ")
    'dots 12 mm across'
    >>> [step_words(Step(SNIPS, count, "1", None)) for count in (1.0, 6.0)]
    ['1 snip', '6 snips']
    """
    if step.dimension == CORRIDOR:
        return each_side(step.value / 2.0)
    if step.dimension == DIAMETER:
        return f"dots {trimmed(step.value)}{NO_BREAK}mm across"
    if step.dimension == SNIPS:
        return f"{round(step.value)} {plural('snip', round(step.value))}"
    if step.dimension == HALF_BAND:
        within = f"{trimmed(100.0 * step.value)}{NO_BREAK}%"
        return f"within ±{within} of the pen's range around the child's own median pressure"
    return f"{trimmed(step.value)}{NO_BREAK}mm long"
