"""What a person typed in a form that was not taken: shown once more, so that it is not lost."""

import re
from collections.abc import Iterable

from fastapi import Request
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect

from server.fields import UUID_PATTERN

FORM = "application/x-www-form-urlencoded"

# What nobody is to read on a page; a child's code is one of them.
SECRETS = frozenset({"passphrase", "old", "new", "code", "secret"})
# Carried along unseen, chosen from a list, or ticked: nothing of it was typed.
NOT_TYPED = frozenset(
    {
        "attendance",
        "based_on",
        "closed",
        "detail",
        "direction",
        "directions",
        "do",
        "form",
        "guide_id",
        "hand",
        "hand_over_hand",
        "hand_used",
        "hands",
        "help",
        "id",
        "kind",
        "line",
        "mark_id",
        "measure",
        "midline",
        "next",
        "physical",
        "picture",
        "read",
        "roles",
        "scissors",
        "session_id",
        "setup",
        "status",
        "step",
        "supervisor_id",
        "sure",
        "tablets",
        "tap",
        "task",
        "task_id",
        "ticks",
        "tool",
        "voided",
        "what",
    }
)
LABELS = {"text": "Words", "started": "Began", "midline_x_mm": "Midline in mm"}
_NUMBER = re.compile(r"\s*[-+]?\d+(?:[.,]\d+)?\s*")
_ID = re.compile(UUID_PATTERN)

Texts = list[tuple[str, str]]


def typed_of(fields: Iterable[tuple[str, object]]) -> Texts:
    """Return what was typed, by a label for its field.

    Parameters
    ----------
    fields : iterable of tuple
        Names and values of a form.

    Returns
    -------
    list of tuple of str
        Empty if no words were typed: numbers alone are typed again sooner than read.

    Examples
    --------
    >>> typed_of([("activity", "Net"), ("minutes", "5"), ("help", "none"), ("remark", " ")])
    [('Activity', 'Net'), ('Minutes', '5')]
    >>> typed_of([("minutes", "5"), ("passphrase", "a rope in the rain")])
    []
    """
    found = [
        (name, value.replace("\0", ""))
        for name, value in fields
        if isinstance(value, str) and value.strip() and name not in SECRETS | NOT_TYPED
    ]
    found = [(name, value) for name, value in found if not _ID.fullmatch(value)]
    if all(_NUMBER.fullmatch(value) for _, value in found):
        return []
    return [(LABELS.get(name, name.replace("_", " ").capitalize()), text) for name, text in found]


async def typed_texts(request: Request) -> Texts:
    """Return what was typed in the form of a request.

    Parameters
    ----------
    request : Request
        One that was refused.

    Returns
    -------
    list of tuple of str
        As of `typed_of`; empty for what is no form.
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if request.method != "POST" or kind != FORM:
        return []
    try:
        form = await request.form()
    except (HTTPException, ClientDisconnect):
        return []
    return typed_of(form.multi_items())
