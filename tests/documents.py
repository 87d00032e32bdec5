"""A sound trial document, and every way in which the suite spoils it."""

import copy
import json
from collections.abc import Callable
from typing import Any, NamedTuple

import pytest

from server.documents import MAX_DOCUMENT_BYTES
from server.faults import BadDocument
from server.fields import MAX_MARKS, MAX_PARTS, MAX_POINTS, MAX_SAMPLES, MAX_TARGETS

TRIAL_ID = "5f3a1c52-8d0e-4b7a-9c41-6e2f70b9d813"

# A child's name that somebody might put where it does not belong; no answer may repeat it.
SECRET = "Quillfeather"

Tree = dict[str, Any]


def sound() -> Tree:
    """A short trial on a straight guide with every optional part present."""
    return {
        "format": "linnet-trial/1",
        "trial_id": TRIAL_ID,
        "seq": 7,
        "plan": {"plan_id": "plan-7", "version": 2, "item_id": "a1", "repetition": 3},
        "task": {
            "task_id": "quay-edge",
            "revision": 1,
            "mode": "trace",
            "name": "Quay Edge",
            "use": "probe",
            "criterion": {"measure": "in_corridor_share", "at_least": 0.8},
        },
        "guide": {
            "id": "g1-00000000000000000000",
            "shape": "line",
            "points_mm": [[20.0, 60.0], [180.0, 60.0]],
            "closed": False,
            "corridor_mm": 8.0,
            "start_radius_mm": 5.0,
            "stop_radius_mm": 5.0,
            "midline_x_mm": 100.0,
            "midline_source": "entered",
        },
        "condition": {
            "hand": "left",
            "direction": "left_to_right",
            "position": "seated",
            "tool": "stylus",
        },
        "device": {
            "tablet_id": "tablet-1",
            "calibration_id": "calibration-1",
            "pointer_type": "pen",
            "px_per_mm": 5.21,
            "calibrated": True,
            "screen_mm": [207.0, 136.0],
            "coalesced": True,
            "secure_context": True,
            "clock_offset_ms": -140,
        },
        "started_at": "2026-03-03T09:14:07.120Z",
        "cue_ms": 0,
        "ended_by": "stop_target",
        "marks": [{"t_ms": 610.4, "kind": "hand_switch"}],
        "samples": {
            "t_ms": [600.0, 604.2, 608.3, 612.5],
            "x_mm": [20.10, 20.24, 20.41, 20.66],
            "y_mm": [60.00, 59.81, 59.52, 59.40],
            "stroke": [0, 0, 0, 0],
            "pressure": [0.31, 0.33, 0.35, None],
            "tilt_x": [12, 12, 12, None],
            "tilt_y": [40, 40, 40, None],
            "pointer": [0, 0, 0, 0],
        },
    }


def as_bytes(tree: Any) -> bytes:
    return json.dumps(tree).encode()


def put(*steps: str | int, value: Any, whole: Callable[[], Tree] = sound) -> Callable[[], bytes]:
    """The sound document with one value replaced."""

    def made() -> bytes:
        tree = whole()
        inner: Any = tree
        for step in steps[:-1]:
            inner = inner[step]
        inner[steps[-1]] = copy.deepcopy(value)
        return as_bytes(tree)

    return made


def less(*steps: str | int, whole: Callable[[], Tree] = sound) -> Callable[[], bytes]:
    """The sound document with one key or entry taken away."""

    def made() -> bytes:
        tree = whole()
        inner: Any = tree
        for step in steps[:-1]:
            inner = inner[step]
        del inner[steps[-1]]
        return as_bytes(tree)

    return made


def text(old: str, new: str, whole: Callable[[], Tree] = sound) -> Callable[[], bytes]:
    """The sound document with a piece of its text replaced."""

    def made() -> bytes:
        written = json.dumps(whole())
        assert written.count(old) == 1
        return written.replace(old, new).encode()

    return made


class Case(NamedTuple):
    """One malformed document: its bytes, and what the answer has to be."""

    name: str
    raw: Callable[[], bytes]
    path: str
    says: str
    status: int = 422


CASES = (
    # Not JSON at all.
    Case("empty", lambda: b"", "", "is not JSON"),
    Case("prose", lambda: SECRET.encode(), "", "is not JSON"),
    Case("cut off", lambda: as_bytes(sound())[:-20], "", "is not JSON"),
    Case("more after the end", lambda: as_bytes(sound()) + b" {}", "", "is not JSON"),
    Case("two documents", lambda: as_bytes(sound()) * 2, "", "is not JSON"),
    Case("comment", lambda: b"/* " + SECRET.encode() + b" */" + as_bytes(sound()), "", "not JSON"),
    Case("single quotes", lambda: repr(sound()).encode(), "", "is not JSON"),
    Case("trailing comma", text('"repetition": 3}', '"repetition": 3,}'), "", "is not JSON"),
    Case("raw line feed in text", text("Quay Edge", "Quay\nEdge"), "", "is not JSON"),
    Case("leading zero", text('"seq": 7', '"seq": 07'), "", "is not JSON"),
    Case("plus sign", text('"seq": 7', '"seq": +7'), "", "is not JSON"),
    Case("byte order mark", lambda: b"\xef\xbb\xbf" + as_bytes(sound()), "", "byte order mark"),
    Case("not UTF-8", lambda: as_bytes(sound()).replace(b"Quay", b"Qu\xe9y"), "", "UTF-8"),
    Case("UTF-16", lambda: json.dumps(sound()).encode("utf-16"), "", "UTF-8"),
    Case("UTF-32", lambda: json.dumps(sound()).encode("utf-32-le"), "", "not JSON"),
    Case("null bytes", lambda: b"\x00" * 64, "", "is not JSON"),
    # JSON that other readers let pass.
    Case("NaN", text("604.2", "NaN"), "/samples/t_ms/1", "finite"),
    Case("Infinity", text("20.24", "Infinity"), "/samples/x_mm/1", "finite"),
    Case("minus Infinity", text("59.52", "-Infinity"), "/samples/y_mm/2", "finite"),
    Case("beyond a double", text("59.52", "1e999"), "/samples/y_mm/2", "finite"),
    Case(
        "NaN under an unknown key", put("device", SECRET, value=float("nan")), "/device", "finite"
    ),
    Case("integer of 5000 digits", text('"seq": 7', '"seq": ' + "9" * 5000), "/seq", "finite"),
    Case("key given twice", text('"seq": 7', '"seq": 7, "seq": 8'), "/seq", "more than once"),
    Case(
        "key given twice inside",
        text('"x_mm": [', '"x_mm": [], "x_mm": ['),
        "/samples/x_mm",
        "more than once",
    ),
    Case(
        "unknown key given twice",
        text('"px_per_mm"', f'"{SECRET}": 1, "{SECRET}": 2, "px_per_mm"'),
        "/device",
        "more than once",
    ),
    Case(
        "key given twice, once escaped",
        text('"seq": 7', '"seq": 7, "\\u0073eq": 8'),
        "/seq",
        "more than once",
    ),
    Case("half a surrogate pair", text("Quay Edge", "Quay \\ud83d"), "/task/name", "surrogate"),
    Case(
        "half a pair in a key", text('"px_per_mm"', '"\\udc00": 1, "px_per_mm"'), "/device", "surr"
    ),
    Case("nested one too deep", put("extra", value=json.loads("[" * 32 + "]" * 32)), "", "deep"),
    Case("nested far too deep", lambda: b"[" * 100_000 + b"]" * 100_000, "", "deep"),
    Case("nested objects", lambda: b'{"guide":' * 40 + b"1" + b"}" * 40, "/guide" * 32, "deep"),
    # The wrong thing at the top.
    Case("list", lambda: as_bytes([sound()]), "", "must be an object"),
    Case("text", lambda: as_bytes(SECRET), "", "must be an object"),
    Case("null", lambda: b"null", "", "must be an object"),
    Case("another format", put("format", value=f"{SECRET}/1"), "/format", "linnet-trial/1"),
    Case("a later version", put("format", value="linnet-trial/2"), "/format", "linnet-trial/1"),
    # Keys that are needed.
    Case("no format", less("format"), "/format", "needed"),
    Case("no id", less("trial_id"), "/trial_id", "needed"),
    Case("no task", less("task"), "/task", "needed"),
    Case("no mode", less("task", "mode"), "/task/mode", "needed"),
    Case("no guide", less("guide"), "/guide", "needed"),
    Case("no condition", less("condition"), "/condition", "needed"),
    Case("no device", less("device"), "/device", "needed"),
    Case("no pointer type", less("device", "pointer_type"), "/device/pointer_type", "needed"),
    Case("no samples", less("samples"), "/samples", "needed"),
    Case("no times", less("samples", "t_ms"), "/samples/t_ms", "needed"),
    Case("no x", less("samples", "x_mm"), "/samples/x_mm", "needed"),
    Case("no y", less("samples", "y_mm"), "/samples/y_mm", "needed"),
    Case("no strokes", less("samples", "stroke"), "/samples/stroke", "needed"),
    Case("plan without id", less("plan", "plan_id"), "/plan/plan_id", "needed"),
    Case("mark without time", less("marks", 0, "t_ms"), "/marks/0/t_ms", "needed"),
    # Columns.
    Case("short x", less("samples", "x_mm", 0), "/samples/x_mm", "as many entries"),
    Case("short y", less("samples", "y_mm", 0), "/samples/y_mm", "as many entries"),
    Case("short strokes", less("samples", "stroke", 0), "/samples/stroke", "as many entries"),
    Case("short pressure", less("samples", "pressure", 0), "/samples/pressure", "as many entries"),
    Case("long tilt", put("samples", "tilt_x", value=[1] * 5), "/samples/tilt_x", "as many"),
    Case("short pointer", put("samples", "pointer", value=[]), "/samples/pointer", "as many"),
    Case("samples as rows", put("samples", value=[[600.0, 20.1, 60.0, 0]]), "/samples", "object"),
    Case("column of text", put("samples", "x_mm", value=SECRET), "/samples/x_mm", "a list"),
    Case("column as object", put("samples", "y_mm", value={"0": 1.5}), "/samples/y_mm", "a list"),
    Case("text in x", put("samples", "x_mm", 2, value=SECRET), "/samples/x_mm/2", "a number"),
    Case("number as text", put("samples", "t_ms", 1, value="604.2"), "/samples/t_ms/1", "a number"),
    Case("null in y", put("samples", "y_mm", 3, value=None), "/samples/y_mm/3", "a number"),
    Case("true as a number", put("samples", "x_mm", 0, value=True), "/samples/x_mm/0", "a number"),
    Case("true as stroke", put("samples", "stroke", 1, value=True), "/samples/stroke/1", "whole"),
    Case("stroke and a half", put("samples", "stroke", 1, value=0.5), "/samples/stroke/1", "whole"),
    Case(
        "stroke below 0", put("samples", "stroke", 0, value=-1), "/samples/stroke/0", "at least 0"
    ),
    Case(
        "stroke of 2^40", put("samples", "stroke", 3, value=2**40), "/samples/stroke/3", "at most"
    ),
    Case("third contact", put("samples", "pointer", 0, value=2), "/samples/pointer/0", "at most 1"),
    Case(
        "pressure of 2", put("samples", "pressure", 0, value=2.5), "/samples/pressure/0", "most 1"
    ),
    Case(
        "pressure below 0", put("samples", "pressure", 1, value=-0.25), "/samples/pressure/1", "0"
    ),
    Case("tilt of 120", put("samples", "tilt_y", 2, value=120), "/samples/tilt_y/2", "at most 90"),
    Case("x a mile off", put("samples", "x_mm", 2, value=1609344.5), "/samples/x_mm/2", "at most"),
    Case("y of 1e300", put("samples", "y_mm", 0, value=1e300), "/samples/y_mm/0", "at most 10000"),
    Case("time of two days", put("samples", "t_ms", 3, value=172800001), "/samples/t_ms/3", "most"),
    # The guide.
    Case("guide as text", put("guide", value=SECRET), "/guide", "an object"),
    Case(
        "one point", put("guide", "points_mm", value=[[20, 60]]), "/guide/points_mm", "two points"
    ),
    Case("no points in the list", put("guide", "points_mm", value=[]), "/guide/points_mm", "two"),
    Case(
        "all points in one place",
        put("guide", "points_mm", value=[[21.5, 60.5]] * 3),
        "/guide/points_mm",
        "different places",
    ),
    Case(
        "point of three numbers",
        put("guide", "points_mm", 1, value=[180, 60, 1]),
        "/guide/points_mm/1",
        "two numbers",
    ),
    Case(
        "point as an object",
        put("guide", "points_mm", 0, value={"x": 20, "y": 60}),
        "/guide/points_mm/0",
        "two numbers",
    ),
    Case(
        "text in a point",
        put("guide", "points_mm", 0, 1, value=SECRET),
        "/guide/points_mm/0/1",
        "a number",
    ),
    Case("corridor of 0", put("guide", "corridor_mm", value=0), "/guide/corridor_mm", "above 0"),
    Case(
        "corridor below 0", put("guide", "corridor_mm", value=-8.5), "/guide/corridor_mm", "above"
    ),
    Case(
        "corridor as text", put("guide", "corridor_mm", value=SECRET), "/guide/corridor_mm", "numb"
    ),
    Case(
        "three widths for two points",
        put("guide", "corridor_mm", value=[8, 8, 8]),
        "/guide/corridor_mm",
        "one per point",
    ),
    Case(
        "one width of 0",
        put("guide", "corridor_mm", value=[8, 0]),
        "/guide/corridor_mm/1",
        "above 0",
    ),
    Case("closed as text", put("guide", "closed", value="yes"), "/guide/closed", "true or false"),
    Case("closed as 1", put("guide", "closed", value=1), "/guide/closed", "true or false"),
    Case(
        "radius below 0", put("guide", "start_radius_mm", value=-1), "/guide/start_radius_mm", "0"
    ),
    Case(
        "midline as text", put("guide", "midline_x_mm", value="100"), "/guide/midline_x_mm", "numb"
    ),
    Case(
        "points and parts",
        put("guide", "parts", value=[{"points_mm": [[0, 0], [9, 9]]}]),
        "/guide/parts",
        "both",
    ),
    Case("parts as an object", put("guide", "parts", value={}), "/guide/parts", "a list"),
    Case(
        "part of one point",
        put("guide", value={"parts": [{"points_mm": [[0, 0], [9, 9]]}, {"points_mm": [[1, 1]]}]}),
        "/guide/parts/1/points_mm",
        "two points",
    ),
    Case(
        "part in one place",
        put("guide", value={"parts": [{"points_mm": [[4, 4], [4, 4]]}]}),
        "/guide/parts/0/points_mm",
        "different places",
    ),
    Case(
        "part without points",
        put("guide", value={"parts": [{"closed": True}]}),
        "/guide/parts/0/points_mm",
        "needed",
    ),
    Case(
        "target without radius",
        put("guide", value={"targets_mm": [{"x": 1, "y": 1, "order": 0}]}),
        "/guide/targets_mm/0/radius",
        "needed",
    ),
    Case(
        "two targets first",
        put(
            "guide",
            value={
                "targets_mm": [
                    {"x": 10, "y": 10, "radius": 5, "order": 1},
                    {"x": 90, "y": 10, "radius": 5, "order": 1},
                ]
            },
        ),
        "/guide/targets_mm/1/order",
        "one target only",
    ),
    # Words and ids.
    Case("id that is no UUID", put("trial_id", value=f"trial-{SECRET}"), "/trial_id", "UUID"),
    Case("id in capitals", put("trial_id", value=TRIAL_ID.upper()), "/trial_id", "lower case"),
    Case("id as a number", put("trial_id", value=4711), "/trial_id", "text"),
    Case("id with a line feed", put("trial_id", value=TRIAL_ID + "\n"), "/trial_id", "36 char"),
    Case("unknown mode", put("task", "mode", value=SECRET), "/task/mode", "'trace'"),
    Case("unknown hand", put("condition", "hand", value=SECRET), "/condition/hand", "'left'"),
    Case("unknown use", put("task", "use", value=SECRET), "/task/use", "'probe'"),
    Case(
        "unknown direction",
        put("condition", "direction", value=SECRET),
        "/condition/direction",
        "'left_to_right'",
    ),
    Case(
        "position in prose",
        put("condition", "position", value=f"on the lap of {SECRET}"),
        "/condition/position",
        "lower case",
    ),
    Case("plan id with a slash", put("plan", "plan_id", value="../x"), "/plan/plan_id", "an id"),
    Case("plan id of 65", put("plan", "plan_id", value="p" * 65), "/plan/plan_id", "64 characters"),
    Case("name with a null", put("task", "name", value="Quay\x00"), "/task/name", "control"),
    Case("name of 121", put("task", "name", value="n" * 121), "/task/name", "120 characters"),
    Case("version as text", put("plan", "version", value="2"), "/plan/version", "whole number"),
    Case("seq below 0", put("seq", value=-1), "/seq", "at least 0"),
    Case("seq of 2^31", put("seq", value=2**31), "/seq", "at most"),
    Case("seq as 7.0", put("seq", value=7.0), "/seq", "whole number"),
    Case(
        "start without offset", put("started_at", value="2027-04-05T10:00:01"), "/started_at", "off"
    ),
    Case(
        "start in month 13", put("started_at", value="2026-13-03T09:14:07Z"), "/started_at", "date"
    ),
    Case("start as a number", put("started_at", value=1772529247), "/started_at", "text"),
    Case("cue as text", put("cue_ms", value=SECRET), "/cue_ms", "a number"),
    Case("marks as an object", put("marks", value={}), "/marks", "a list"),
    Case(
        "mark kind in prose", put("marks", 0, "kind", value=f"{SECRET}!"), "/marks/0/kind", "word"
    ),
    Case("scale of 0", put("device", "px_per_mm", value=0), "/device/px_per_mm", "above 0"),
    Case(
        "calibrated as text", put("device", "calibrated", value="yes"), "/device/calibrated", "true"
    ),
    Case("screen of one side", put("device", "screen_mm", value=[207]), "/device/screen_mm", "two"),
    Case(
        "criterion without bound", less("task", "criterion", "at_least"), "/task/criterion", "at_"
    ),
    Case(
        "bound as text",
        put("task", "criterion", "at_least", value=SECRET),
        "/task/criterion/at_least",
        "a number",
    ),
    # Too large: 413.
    Case(
        "too many bytes",
        lambda: as_bytes(sound()) + b" " * MAX_DOCUMENT_BYTES,
        "",
        "at most",
        413,
    ),
    Case(
        "too many samples",
        put("samples", "t_ms", value=[0.5] * (MAX_SAMPLES + 1)),
        "/samples/t_ms",
        "at most",
        413,
    ),
    Case(
        "too many points",
        put("guide", "points_mm", value=[[0, 0], [9, 9]] * (MAX_POINTS // 2 + 1)),
        "/guide/points_mm",
        "at most",
        413,
    ),
    Case(
        "too many points in parts",
        put(
            "guide", value={"parts": [{"points_mm": [[0, 0], [9, 9]] * (MAX_POINTS // 4 + 1)}] * 2}
        ),
        "/guide/parts",
        "at most",
        413,
    ),
    Case(
        "too many parts",
        put("guide", value={"parts": [{"points_mm": [[0, 0], [9, 9]]}] * (MAX_PARTS + 1)}),
        "/guide/parts",
        "at most",
        413,
    ),
    Case(
        "too many targets",
        put(
            "guide",
            "targets_mm",
            value=[{"x": at, "y": 1, "radius": 2, "order": at} for at in range(MAX_TARGETS + 1)],
        ),
        "/guide/targets_mm",
        "at most",
        413,
    ),
    Case(
        "band of one bound",
        put("task", "pressure_band", value=[0.3]),
        "/task/pressure_band",
        "must be a list of two numbers",
    ),
    Case(
        "band beyond the range",
        put("task", "pressure_band", value=[0.3, 1.5]),
        "/task/pressure_band/1",
        "at most 1",
    ),
    Case(
        "band the wrong way round",
        put("task", "pressure_band", value=[0.7, 0.3]),
        "/task/pressure_band",
        "below the second",
    ),
    Case(
        "too many marks",
        put("marks", value=[{"t_ms": 1, "kind": "hand_switch"}] * (MAX_MARKS + 1)),
        "/marks",
        "at most",
        413,
    ),
)


def fragments(raw: bytes, whole: Callable[[], Tree] = sound) -> set[str]:
    """Pieces of a document that an answer would only hold if it repeated the input."""
    found = {SECRET}
    try:
        tree = json.loads(raw)
    except (ValueError, RecursionError):
        return found
    ours = {str(value) for value in _leaves(whole())}
    return found | {text for text in map(str, _leaves(tree)) if len(text) > 3 and text not in ours}


def assert_refused(
    case: Case, read: Callable[[bytes], object], whole: Callable[[], Tree] = sound
) -> None:
    """The reader says where and what, in a sentence, and repeats nothing of the input."""
    raw = case.raw()
    with pytest.raises(BadDocument) as caught:
        read(raw)
    bad = caught.value
    assert bad.status == case.status
    assert bad.faults[0].path == case.path
    assert case.says in bad.faults[0].detail
    for fault in bad.faults:
        assert fault.detail[0].isupper()
        assert fault.detail.endswith(".")
    said = str(bad) + json.dumps(bad.faults)
    for fragment in fragments(raw, whole):
        assert fragment not in said
    assert bad.__cause__ is None
    assert bad.__suppress_context__ or bad.__context__ is None


def _leaves(tree: Any) -> list[Any]:
    leaves: list[Any] = []
    waiting = [tree]
    while waiting:
        value = waiting.pop()
        if isinstance(value, dict):
            waiting.extend(value.values())
        elif isinstance(value, list):
            waiting.extend(value)
        elif isinstance(value, str | int | float) and not isinstance(value, bool):
            leaves.append(value)
    return leaves
