"""A sound entry document, and every way in which the suite spoils it."""

from collections.abc import Callable
from typing import Any

from server.cuts import MAX_COUNTS
from server.documents import MAX_DOCUMENT_BYTES
from tests import documents
from tests.documents import SECRET, Case, Tree, as_bytes

ENTRY_ID = "2d9a7f10-4c8b-4e6d-b1a5-83f0c2d7e914"

Raw = Callable[[], bytes]


def sound_entry() -> Tree:
    """A row of ten dots to punch, of which eight were hit, with every optional part."""
    return {
        "format": "linnet-entry/1",
        "entry_id": ENTRY_ID,
        "seq": 4,
        "plan": {"plan_id": "plan-7", "version": 2, "item_id": "e1", "repetition": 1},
        "task": {
            "task_id": "punch-row",
            "revision": 1,
            "mode": "tap",
            "name": "Punch Row",
            "use": "practice",
            "criterion": {"count": "hits", "at_least": 8},
        },
        "guide": {"corridor_mm": 12.7},
        "condition": {
            "hand": "right",
            "direction": "left_to_right",
            "position": "seated",
            "tool": "punch",
        },
        "counts": {"dots": 10, "hits": 8},
        "largest_stray_mm": 3.5,
        "duration_s": 42.5,
        "started_at": "2026-03-05T09:41:00.000Z",
    }


def put(*steps: str | int, value: Any) -> Raw:
    return documents.put(*steps, value=value, whole=sound_entry)


def less(*steps: str | int) -> Raw:
    return documents.less(*steps, whole=sound_entry)


def text(old: str, new: str) -> Raw:
    return documents.text(old, new, whole=sound_entry)


def criterion(**fields: Any) -> Raw:
    return put("task", "criterion", value=fields)


ASKED = "/task/criterion"

CASES = (
    # Not JSON, or JSON that other readers let pass.
    Case("empty", lambda: b"", "", "is not JSON"),
    Case("cut off", lambda: as_bytes(sound_entry())[:-9], "", "is not JSON"),
    Case("not UTF-8", lambda: as_bytes(sound_entry()).replace(b"Punch", b"P\xfcnch"), "", "UTF-8"),
    Case("NaN", text("3.5", "NaN"), "/largest_stray_mm", "finite"),
    Case("key given twice", text('"seq": 4', '"seq": 4, "seq": 5'), "/seq", "more than once"),
    Case("a count given twice", text('"hits": 8', '"hits": 8, "hits": 9'), "/counts", "once"),
    Case("nested far too deep", lambda: b"[" * 90_000 + b"]" * 90_000, "", "deep"),
    # The wrong thing at the top, or something that is needed is not there.
    Case("list", lambda: as_bytes([sound_entry()]), "", "must be an object"),
    Case("another format", put("format", value=f"{SECRET}/1"), "/format", "linnet-entry/1"),
    Case("a later version", put("format", value="linnet-entry/2"), "/format", "linnet-entry/1"),
    Case("no format", less("format"), "/format", "needed"),
    Case("no id", less("entry_id"), "/entry_id", "needed"),
    Case("no task", less("task"), "/task", "needed"),
    Case("no mode", less("task", "mode"), "/task/mode", "needed"),
    # Ids and words.
    Case("id that is no UUID", put("entry_id", value=f"e-{SECRET}"), "/entry_id", "UUID"),
    Case("id as a number", put("entry_id", value=4711), "/entry_id", "text"),
    Case("unknown mode", put("task", "mode", value=SECRET), "/task/mode", "'trace'"),
    Case("unknown hand", put("condition", "hand", value=SECRET), "/condition/hand", "'left'"),
    Case("name of 121", put("task", "name", value="n" * 121), "/task/name", "120 characters"),
    Case(
        "a tool in prose", put("condition", "tool", value=f"{SECRET}'s"), "/condition/tool", "word"
    ),
    Case("start without offset", put("started_at", value="2027-04-05T10:00"), "/started_at", "off"),
    Case("seq below 0", put("seq", value=-7), "/seq", "at least 0"),
    Case("plan without id", less("plan", "plan_id"), "/plan/plan_id", "needed"),
    # What it was asked on.
    Case("guide as a list", put("guide", value=[[1, 2]]), "/guide", "an object"),
    Case("width of 0", put("guide", "corridor_mm", value=0), "/guide/corridor_mm", "above 0"),
    Case("width as text", put("guide", "corridor_mm", value=SECRET), "/guide/corridor_mm", "num"),
    # What was counted.
    Case("counts as a list", put("counts", value=[17]), "/counts", "an object"),
    Case("a count below 0", put("counts", "hits", value=-17), "/counts", "at least 0"),
    Case("a count and a half", put("counts", "hits", value=1.5), "/counts", "whole number"),
    Case("a count as text", put("counts", SECRET.lower(), value="17"), "/counts", "whole number"),
    Case("a count as truth", put("counts", "hits", value=True), "/counts", "whole number"),
    Case("a count that is null", put("counts", "hits", value=None), "/counts", "whole number"),
    Case("a count named in prose", put("counts", f"{SECRET}'s hits", value=17), "/counts", "word"),
    Case("a count beyond all", put("counts", "hits", value=10**12), "/counts", "at most"),
    # By ruler and by watch.
    Case("a stray below 0", put("largest_stray_mm", value=-3.25), "/largest_stray_mm", "at least"),
    Case("a stray as text", put("largest_stray_mm", value=SECRET), "/largest_stray_mm", "number"),
    Case(
        "a stray of a mile", put("largest_stray_mm", value=1609344.5), "/largest_stray_mm", "most"
    ),
    Case("a time below 0", put("duration_s", value=-42), "/duration_s", "at least 0"),
    Case("a time of two days", put("duration_s", value=172801), "/duration_s", "at most 86400"),
    # The criterion.
    Case("criterion as text", put("task", "criterion", value=SECRET), ASKED, "an object"),
    Case("criterion on nothing", criterion(at_least=4711), ASKED, "one thing"),
    Case(
        "criterion on a measure", criterion(measure="completion", at_least=0.75), ASKED, "one thing"
    ),
    Case(
        "criterion on two things",
        criterion(count="hits", entered="largest_stray_mm", at_most=4711),
        ASKED,
        "one thing",
    ),
    Case("criterion without bound", criterion(count="hits"), ASKED, "at_least, at_most or both"),
    Case(
        "criterion on something else entered",
        criterion(entered=SECRET, at_most=3),
        f"{ASKED}/entered",
        "largest_stray_mm",
    ),
    Case(
        "a stray that is to be large",
        criterion(entered="largest_stray_mm", at_least=4711),
        f"{ASKED}/at_least",
        "at_most only",
    ),
    Case(
        "bounds that cross",
        criterion(count="hits", at_least=4712, at_most=4711),
        f"{ASKED}/at_least",
        "above",
    ),
    Case("a bound as text", criterion(count="hits", at_least=SECRET), f"{ASKED}/at_least", "num"),
    Case("a count in prose", criterion(count=f"{SECRET} x", at_least=1), f"{ASKED}/count", "word"),
    # Too large: 413.
    Case(
        "too many bytes",
        lambda: as_bytes(sound_entry()) + b" " * MAX_DOCUMENT_BYTES,
        "",
        "at most",
        413,
    ),
    Case(
        "too many counts",
        put("counts", value={f"count_{at}": at for at in range(MAX_COUNTS + 1)}),
        "/counts",
        "at most",
        413,
    ),
)
