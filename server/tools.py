"""Which tools a task can be done with, by its mode and by what it is done on."""

from collections.abc import Mapping
from typing import Any

from server.library_fit import LARGE_SCREEN, PAPER, TABLET

STYLUS, FINGER = "stylus", "finger"
SCISSORS, PUNCH = "scissors", "punch"
DRAWING = ("pencil", "crayon", "marker")
# In the order in which they are offered. Practices may have words of their own beside them.
TOOLS = (STYLUS, FINGER, *DRAWING, SCISSORS, "glue", PUNCH)

ON_SCREEN: Mapping[str, tuple[str, ...]] = {
    "trace": (STYLUS, FINGER),
    "tap": (STYLUS, FINGER),
    "join": (STYLUS, FINGER),
    # Two fingers at once: of two pens a tablet feels one.
    "both": (FINGER,),
}
ON_PAPER: Mapping[str, tuple[str, ...]] = {
    "trace": (*DRAWING, "glue"),
    "tap": (*DRAWING, PUNCH),
    "join": DRAWING,
    "both": DRAWING,
}
# A pen drawn along a cutting line is practice for it.
CUTTING = (SCISSORS, STYLUS)


def tools_of(task: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the tools with which a task can be done, the usual one first.

    Parameters
    ----------
    task : mapping
        A ``linnet-task/1``.

    Returns
    -------
    tuple of str
        Of `TOOLS`.

    Examples
    --------
    >>> tools_of({"mode": "both", "medium": "tablet"}), tools_of({"mode": "cut"})
    (('finger',), ('scissors', 'stylus'))
    """
    mode, medium = task["mode"], task.get("medium") or TABLET
    if mode == "cut":
        return CUTTING
    if task.get("pressure_half_band") is not None:
        # A finger has no pressure that could be kept in a band.
        return (STYLUS,)
    if medium == PAPER:
        return ON_PAPER[mode]
    on_screen = ON_SCREEN[mode]
    return (*on_screen, *DRAWING) if medium == LARGE_SCREEN else on_screen


def tool_trouble(task: Mapping[str, Any], tool: str | None) -> str | None:
    """Return why a task cannot be done with a tool, in a sentence; None if it can.

    Parameters
    ----------
    task : mapping
        A ``linnet-task/1``.
    tool : str or None
        A word of `TOOLS`; a word of the practice's own is nobody's fault.

    Examples
    --------
    >>> tool_trouble({"mode": "both"}, "stylus")
    'For this task choose finger, or leave the tool unsaid.'
    """
    fits = tools_of(task)
    if tool is None or tool not in TOOLS or tool in fits:
        return None
    *others, last = fits
    words = f"{', '.join(others)} or {last}" if others else last
    return f"For this task choose {words}, or leave the tool unsaid."
