"""A sound cut document, and every way in which the suite spoils it."""

from collections.abc import Callable
from typing import Any

from server.cut_fields import MAX_OUTLINE_POINTS, MAX_REGISTRATION_MARKS
from server.cuts import MAX_COUNTS
from server.documents import MAX_DOCUMENT_BYTES
from server.fields import MAX_POINTS
from tests import documents
from tests.documents import SECRET, Case, Tree, as_bytes

CUT_ID = "7c5b0e64-1f7d-4a39-8f26-90d1c3a4b5e6"

Raw = Callable[[], bytes]


def sound_cut() -> Tree:
    """A square of 40 mm cut 1 mm outside, photographed at 8 px/mm, with every optional part."""
    return {
        "format": "linnet-cut/1",
        "cut_id": CUT_ID,
        "seq": 3,
        "plan": {"plan_id": "plan-7", "version": 2, "item_id": "c1", "repetition": 1},
        "task": {
            "task_id": "crate-card",
            "revision": 1,
            "mode": "cut",
            "name": "Crate Card",
            "use": "practice",
            "criterion": {"measure": "cut_deviation_mean", "at_most": 3.2},
        },
        "template": {
            "points_mm": [[20.0, 20.0], [60.0, 20.0], [60.0, 60.0], [20.0, 60.0]],
            "closed": True,
            "corridor_mm": 6.4,
        },
        "outline": {
            "points": [[152.5, 152.5], [488.5, 152.5], [488.5, 488.5], [152.5, 488.5]],
            "unit": "px",
        },
        "scale": {"px_per_mm": 8.0, "calibrated": True},
        "registration": {
            "kind": "marks",
            "marks_seen": [[80.5, 80.5], [800.5, 80.5], [80.5, 800.5]],
            "marks_printed_mm": [[10.0, 10.0], [100.0, 10.0], [10.0, 100.0]],
        },
        "band_mm": 3.2,
        "counts": {"snips": 17, "paper_turns": 4},
        "condition": {"hand": "right", "position": "seated", "tool": "scissors"},
        "started_at": "2026-03-05T09:30:00.000Z",
    }


def put(*steps: str | int, value: Any) -> Raw:
    return documents.put(*steps, value=value, whole=sound_cut)


def less(*steps: str | int) -> Raw:
    return documents.less(*steps, whole=sound_cut)


def text(old: str, new: str) -> Raw:
    return documents.text(old, new, whole=sound_cut)


def without(*names: str) -> Raw:
    """The sound document without some of its keys."""

    def made() -> bytes:
        return as_bytes({name: value for name, value in sound_cut().items() if name not in names})

    return made


SEEN, PRINTED = "/registration/marks_seen", "/registration/marks_printed_mm"

CASES = (
    # Not JSON, or JSON that other readers let pass.
    Case("empty", lambda: b"", "", "is not JSON"),
    Case("cut off", lambda: as_bytes(sound_cut())[:-9], "", "is not JSON"),
    Case("not UTF-8", lambda: as_bytes(sound_cut()).replace(b"Crate", b"Cr\xe4te"), "", "UTF-8"),
    Case(
        "NaN",
        text("488.5], [152.5, 488.5]]", "NaN], [152.5, 488.5]]"),
        "/outline/points/2/1",
        "fin",
    ),
    Case("key given twice", text('"seq": 3', '"seq": 3, "seq": 4'), "/seq", "more than once"),
    Case("nested far too deep", lambda: b"[" * 90_000 + b"]" * 90_000, "", "deep"),
    # The wrong thing at the top, or something that is needed is not there.
    Case("list", lambda: as_bytes([sound_cut()]), "", "must be an object"),
    Case("another format", put("format", value=f"{SECRET}/1"), "/format", "linnet-cut/1"),
    Case("a later version", put("format", value="linnet-cut/2"), "/format", "linnet-cut/1"),
    Case("no format", less("format"), "/format", "needed"),
    Case("no id", less("cut_id"), "/cut_id", "needed"),
    Case("no template", less("template"), "/template", "needed"),
    Case("template without points", less("template", "points_mm"), "/template/points_mm", "needed"),
    Case("outline without points", less("outline", "points"), "/outline/points", "needed"),
    Case("outline without unit", less("outline", "unit"), "/outline/unit", "needed"),
    Case("registration without kind", less("registration", "kind"), "/registration/kind", "needed"),
    Case("neither outline nor counts", without("outline", "counts", "registration"), "", "outline"),
    # Ids and words.
    Case("id that is no UUID", put("cut_id", value=f"cut-{SECRET}"), "/cut_id", "UUID"),
    Case("id as a number", put("cut_id", value=4711), "/cut_id", "text"),
    Case("a mode of a trial", put("task", "mode", value="trace"), "/task/mode", "'cut'"),
    Case("unknown unit", put("outline", "unit", value=SECRET), "/outline/unit", "'mm' or 'px'"),
    Case(
        "unknown kind", put("registration", "kind", value=SECRET), "/registration/kind", "'marks'"
    ),
    Case("unknown hand", put("condition", "hand", value=SECRET), "/condition/hand", "'left'"),
    Case("name of 121", put("task", "name", value="n" * 121), "/task/name", "120 characters"),
    Case(
        "start without offset", put("started_at", value="2027-04-05T10:00:01"), "/started_at", "off"
    ),
    Case("seq below 0", put("seq", value=-7), "/seq", "at least 0"),
    # The template.
    Case("template as a list", put("template", value=[[1, 2]]), "/template", "an object"),
    Case(
        "template not closed", put("template", "closed", value=False), "/template/closed", "closed"
    ),
    Case("closed as text", put("template", "closed", value="yes"), "/template/closed", "true or"),
    Case(
        "template of two points",
        put("template", "points_mm", value=[[11, 12], [60, 13]]),
        "/template/points_mm",
        "three points",
    ),
    Case(
        "template of one line",
        put("template", "points_mm", value=[[11, 12], [61, 12], [41, 12]]),
        "/template/points_mm",
        "an area",
    ),
    Case(
        "template in one place",
        put("template", "points_mm", value=[[11, 12]] * 4),
        "/template/points_mm",
        "an area",
    ),
    Case(
        "template that crosses itself",
        put("template", "points_mm", value=[[11, 12], [61, 62], [61, 12], [11, 62]]),
        "/template/points_mm",
        "cross itself",
    ),
    Case(
        "template a mile wide",
        put("template", "points_mm", 1, 0, value=1609344.5),
        "/template/points_mm/1/0",
        "at most",
    ),
    Case(
        "text in a template's point",
        put("template", "points_mm", 2, 1, value=SECRET),
        "/template/points_mm/2/1",
        "a number",
    ),
    Case(
        "corridor of 0", put("template", "corridor_mm", value=0), "/template/corridor_mm", "above 0"
    ),
    Case(
        "two widths for four points",
        put("template", "corridor_mm", value=[6.4, 6.5]),
        "/template/corridor_mm",
        "one per point",
    ),
    Case("band of 0", put("band_mm", value=0), "/band_mm", "above 0"),
    Case("band as text", put("band_mm", value=SECRET), "/band_mm", "a number"),
    # The outline and its scale.
    Case("outline as a list", put("outline", value=[[1, 2], [3, 4]]), "/outline", "an object"),
    Case(
        "outline of two points",
        put("outline", "points", value=[[151, 152], [481, 152]]),
        "/outline/points",
        "three points",
    ),
    Case("outline of no points", put("outline", "points", value=[]), "/outline/points", "three"),
    Case(
        "point of three numbers",
        put("outline", "points", 1, value=[180, 60, 1]),
        "/outline/points/1",
        "two numbers",
    ),
    Case(
        "point as an object",
        put("outline", "points", 0, value={"x": 20, "y": 60}),
        "/outline/points/0",
        "two numbers",
    ),
    Case(
        "null in a point",
        put("outline", "points", 3, 0, value=None),
        "/outline/points/3/0",
        "a num",
    ),
    Case(
        "true in a point", put("outline", "points", 3, 1, value=True), "/outline/points/3/1", "num"
    ),
    Case(
        "a pixel of 1e300",
        put("outline", "points", 0, 0, value=1e300),
        "/outline/points/0/0",
        "at most 100000",
    ),
    Case(
        "farther than any paper",
        put("outline", "points", 0, 0, value=99_999.5),
        "/outline/points",
        "On paper",
    ),
    Case(
        "a scale next to nothing",
        put("scale", "px_per_mm", value=5e-324),
        "/outline/points",
        "On paper",
    ),
    Case("px without a scale", less("scale", "px_per_mm"), "/scale/px_per_mm", "in px needs"),
    Case("px and no scale at all", less("scale"), "/scale/px_per_mm", "in px needs"),
    Case("scale of 0", put("scale", "px_per_mm", value=0), "/scale/px_per_mm", "above 0"),
    Case("calibrated as 1", put("scale", "calibrated", value=1), "/scale/calibrated", "true or"),
    # How it is laid on the template.
    Case("marks not seen", less("registration", "marks_seen"), SEEN, "at least two"),
    Case("marks not printed", less("registration", "marks_printed_mm"), PRINTED, "at least two"),
    Case("one mark", put("registration", "marks_seen", value=[[81, 82]]), SEEN, "at least two"),
    Case(
        "marks in one place",
        put("registration", "marks_printed_mm", value=[[11, 12]] * 3),
        PRINTED,
        "different places",
    ),
    Case(
        "more marks printed than seen",
        put("registration", "marks_seen", value=[[81, 82], [801, 82]]),
        SEEN,
        "as many",
    ),
    Case(
        "mark of three numbers",
        put("registration", "marks_seen", 0, value=[81, 82, 83]),
        f"{SEEN}/0",
        "two numbers",
    ),
    Case("marks without an outline", without("outline"), "/registration", "with an outline"),
    # What was counted.
    Case("counts as a list", put("counts", value=[17]), "/counts", "an object"),
    Case("a count below 0", put("counts", "snips", value=-17), "/counts", "at least 0"),
    Case("a count and a half", put("counts", "snips", value=1.5), "/counts", "whole number"),
    Case("a count as text", put("counts", SECRET.lower(), value="17"), "/counts", "whole number"),
    Case("a count named in prose", put("counts", f"{SECRET}'s snips", value=17), "/counts", "word"),
    Case("criterion without bound", less("task", "criterion", "at_most"), "/task/criterion", "at_"),
    # Too large: 413.
    Case(
        "too many bytes",
        lambda: as_bytes(sound_cut()) + b" " * MAX_DOCUMENT_BYTES,
        "",
        "at most",
        413,
    ),
    Case(
        "too many points of an outline",
        put("outline", "points", value=[[0, 0]] * (MAX_OUTLINE_POINTS + 1)),
        "/outline/points",
        "at most",
        413,
    ),
    Case(
        "too many points of a template",
        put("template", "points_mm", value=[[0, 0]] * (MAX_POINTS + 1)),
        "/template/points_mm",
        "at most",
        413,
    ),
    Case(
        "too many marks",
        put("registration", "marks_seen", value=[[0, 0]] * (MAX_REGISTRATION_MARKS + 1)),
        SEEN,
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
