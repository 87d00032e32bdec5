"""Ink in the W3C Ink Markup Language (InkML, Recommendation of 20 September 2011).

Read are traces with their channels X, Y, T and F; everything else is passed over. Ink has
no guide and no task, so a trial of it is made with the guide that the reader brings.
"""

import hashlib
import uuid
from dataclasses import dataclass, field, replace
from io import BytesIO
from typing import TYPE_CHECKING, Literal

import numpy as np

from analysis.errors import BadTrace
from analysis.trace import FloatArray, Trace
from analysis.trial import Condition, Device, Trial
from server.documents import ConditionFields, TaskFields
from server.faults import BadDocument, Fault
from server.fields import FARTHEST_MM, LONGEST_MS, MAX_SAMPLES
from server.guides import GuideFields, guide_of
from server.inkml_channels import Format, formats_of, local_name
from server.inkml_values import BadPoint, read_points
from server.strict_json import MAX_DOCUMENT_BYTES, TOO_LARGE

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

MAX_ELEMENTS = 50_000

NOT_XML = "The document is not XML: look at line {line}, column {column}."
NO_DTD = "The ink must not carry a document type or entities."
NOT_INK = "The XML is not ink: its outermost element must be ink, of InkML."
TOO_MANY_ELEMENTS = f"The ink may have at most {MAX_ELEMENTS} elements."
TOO_MANY_SAMPLES = f"The ink may have at most {MAX_SAMPLES} points."
TOO_FAR = f"A point lies farther than {FARTHEST_MM:g} mm away: is the unit of X and Y right?"
TOO_LONG = f"The times of this ink span more than {LONGEST_MS / 3_600_000:g} hours."
UNREADABLE = "The points of this ink cannot be read as a trace."

# Ids of ink are made from its bytes, so that the same file has the same id every time.
INK = uuid.UUID("2d0f9f4e-6f0b-5c1e-9a53-7c1d8f0e4b66")


@dataclass(frozen=True, eq=False)
class InkDocument:
    """The ink of one file as an attempt at tracing.

    Parameters
    ----------
    trial_id : str
        UUID made from the file's bytes.
    trace : Trace
        All points with the pen down; without times unless every point has one.
    calibrated : bool
        Whether X and Y are given in a unit of length.
    guide : GuideFields or None
        What it is measured against; ink carries none itself.
    task, condition : TaskFields, ConditionFields
        Tracing; nothing is known of how it was asked.
    format : str
        Tells it from documents of other kinds.
    """

    trial_id: str
    trace: Trace
    calibrated: bool
    guide: GuideFields | None = None
    task: TaskFields = field(default_factory=lambda: TaskFields(mode="trace"))
    condition: ConditionFields = field(default_factory=ConditionFields)
    format: Literal["inkml"] = "inkml"

    def with_guide(self, guide: GuideFields) -> "InkDocument":
        """Return the same ink measured against a guide."""
        return replace(self, guide=guide)

    def to_trial(self) -> Trial:
        """Return the trial as the analysis takes it."""
        return Trial(
            trial_id=self.trial_id,
            mode=self.task.mode,
            trace=self.trace,
            guide=None if self.guide is None else guide_of(self.guide, path=""),
            condition=Condition(),
            device=Device(pointer_type="pen", calibrated=self.calibrated),
            shown_at_zero=False,
        )


def read_ink(raw: bytes) -> InkDocument:
    """Read an InkML document, or say where it is wrong.

    Parameters
    ----------
    raw : bytes
        The file exactly as it is.

    Returns
    -------
    InkDocument
        Positions in mm: channels without a unit of length count one unit as one nominal
        millimetre and the ink as not calibrated. Traces of a lifted pen are left out.

    Raises
    ------
    BadDocument
        With status 413 if it is too large, else 422.

    Examples
    --------
    >>> len(read_ink(b"<ink><trace>10 0, 9 14, 8 28</trace></ink>").trace)
    3
    """
    root = _parsed(raw)
    formats = formats_of(root)
    traces = [one for one in root.iter() if local_name(one) == "trace"]
    # Points are parted by commas: they are counted before any is read.
    if sum((one.text or "").count(",") + 1 for one in traces) > MAX_SAMPLES:
        raise BadDocument([Fault("", TOO_MANY_SAMPLES)], status=413)
    # What a float cannot hold is too far or too long, and refused as that.
    with np.errstate(over="ignore", invalid="ignore"):
        strokes = [_stroke(number, one, formats[id(one)]) for number, one in enumerate(traces, 1)]
        kept = [stroke for stroke in strokes if stroke is not None and len(stroke.xy_mm)]
        trace = _joined(kept)
    digest = hashlib.sha256(raw).hexdigest()
    return InkDocument(
        trial_id=str(uuid.uuid5(INK, digest)),
        trace=trace,
        calibrated=bool(kept) and all(stroke.calibrated for stroke in kept),
    )


def _parsed(raw: bytes) -> "Element":
    """Return the outermost element; elements are counted while they are read."""
    from xml.etree.ElementTree import ParseError

    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import iterparse

    if len(raw) > MAX_DOCUMENT_BYTES:
        raise BadDocument([Fault("", TOO_LARGE)], status=413)
    root: Element | None = None
    try:
        for count, (_, element) in enumerate(
            iterparse(BytesIO(raw), events=("start",), forbid_dtd=True)
        ):
            root = element if root is None else root
            if count >= MAX_ELEMENTS:
                raise BadDocument([Fault("", TOO_MANY_ELEMENTS)], status=413)
    except ParseError as error:
        line, column = error.position
        sentence = NOT_XML.format(line=line, column=column + 1)
        raise BadDocument([Fault("", sentence)]) from None
    except DefusedXmlException:
        raise BadDocument([Fault("", NO_DTD)]) from None
    except (LookupError, ValueError):
        # An encoding that nobody knows, or one that is not what it says.
        raise BadDocument([Fault("", NOT_XML.format(line=1, column=1))]) from None
    if root is None or local_name(root) != "ink":
        raise BadDocument([Fault("", NOT_INK)])
    return root


@dataclass(frozen=True, eq=False)
class _Stroke:
    xy_mm: FloatArray
    t_s: FloatArray | None
    pressure: FloatArray | None
    calibrated: bool
    goes_on: bool


def _stroke(number: int, element: "Element", layout: Format) -> _Stroke | None:
    """Return the points of one trace; None if the pen was up."""
    if element.get("type", "penDown") == "penUp":
        return None
    try:
        values = read_points(element.text or "", layout.channels)
    except BadPoint as bad:
        raise BadDocument([Fault("", f"Trace {number}, point {bad.number}: {bad.says}")]) from None
    xy_mm = layout.xy_mm(values)
    if (np.abs(xy_mm) > FARTHEST_MM).any():
        raise BadDocument([Fault("", TOO_FAR)])
    return _Stroke(
        xy_mm=xy_mm,
        t_s=layout.t_s(values, element.get("timeOffset")),
        pressure=layout.pressure(values),
        calibrated=layout.calibrated,
        goes_on=element.get("continuation", "begin") in ("middle", "end"),
    )


def _joined(strokes: list[_Stroke]) -> Trace:
    begun = np.cumsum([not stroke.goes_on for stroke in strokes], dtype=np.int64)
    sizes = [len(stroke.xy_mm) for stroke in strokes]
    forces = [
        np.full(size, np.nan) if stroke.pressure is None else stroke.pressure
        for stroke, size in zip(strokes, sizes, strict=True)
    ]
    measured = any(stroke.pressure is not None for stroke in strokes)
    try:
        return Trace(
            xy_mm=np.vstack([np.empty((0, 2)), *(stroke.xy_mm for stroke in strokes)]),
            t_s=_times_s(strokes),
            stroke=np.repeat(np.maximum(begun - 1, 0), sizes),
            pressure=np.concatenate(forces) if measured else None,
        )
    except BadTrace:
        raise BadDocument([Fault("", UNREADABLE)]) from None


def _times_s(strokes: list[_Stroke]) -> FloatArray | None:
    """Return times from the first point on; None unless every point has one. [s]"""
    times = [stroke.t_s for stroke in strokes if stroke.t_s is not None]
    if not times or len(times) < len(strokes):
        return None
    t_s = np.concatenate(times)
    # A clock may count from any day: only what passed since the first point is of use.
    since_s: FloatArray = t_s - t_s[0]
    if not np.abs(since_s).max() <= LONGEST_MS / 1000.0:
        raise BadDocument([Fault("", TOO_LONG)])
    return since_s
