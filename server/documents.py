"""Trial documents, ``linnet-trial/1``: read strictly, or refused with the place of the fault."""

from collections.abc import Iterator
from functools import cache
from typing import Any, Literal, Self

import numpy as np
from pydantic import Field

from analysis.errors import BadTrace
from analysis.trace import Trace
from analysis.trial import Condition, Criterion, Device, Mark, Mode, Trial
from server.faults import BadDocument, Fault
from server.fields import (
    MAX_MARKS,
    Band,
    Code,
    Contacts,
    Count,
    Direction,
    Fields,
    Hand,
    Label,
    Line,
    Milliseconds,
    Moment,
    Number,
    Positions,
    Pressures,
    Size,
    Strokes,
    Tilts,
    Times,
    Use,
    Uuid,
    Width,
)
from server.guides import GuideFields, guide_of
from server.strict_json import MAX_DOCUMENT_BYTES, read_json
from server.validation import names_of, validated

__all__ = ["MAX_DOCUMENT_BYTES", "BadDocument", "Fault", "TrialDocument", "read_trial", "schemas"]

UNEQUAL = "This column must hold as many entries as t_ms does."
NO_BOUND = "A criterion needs at_least, at_most or both."
NO_BAND = "The first bound of the band must be below the second."
BAD_SAMPLES = "The samples cannot be read as a trace."


class PlanFields(Fields):
    """Which item of which plan the trial belongs to."""

    plan_id: Code
    version: Count | None = None
    item_id: Code | None = None
    repetition: Count | None = None


class CriterionFields(Fields):
    """What counts as met: a bound on one measure."""

    measure: Label
    at_least: Number | None = None
    at_most: Number | None = None


class TaskFields(Fields):
    """What was asked of the child."""

    task_id: Code | None = None
    revision: Count | None = None
    mode: Mode
    name: Line | None = None
    use: Use | None = None
    criterion: CriterionFields | None = None
    pressure_band: Band | None = Field(
        default=None,
        description="Lowest and highest pressure asked for, shares of the pen's range.",
    )


class ConditionFields(Fields):
    """What was asked before the trial."""

    hand: Hand | None = None
    direction: Direction | None = None
    position: Label | None = None
    tool: Label | None = None
    tablet_at: Label | None = Field(default=None, description="centred, left or right of the body.")
    surface: Label | None = Field(default=None, description="flat, sloped, upright or floor.")


class DeviceFields(Fields):
    """What the tablet said of itself; `calibrated` absent counts as false."""

    pointer_type: Label
    tablet_id: Code | None = None
    calibration_id: Code | None = None
    px_per_mm: Width | None = None
    calibrated: bool = False
    screen_mm: Size | None = None
    coalesced: bool | None = None
    secure_context: bool | None = None
    clock_offset_ms: Number | None = None


class MarkFields(Fields):
    """Something the adult entered at a moment of the trial."""

    t_ms: Milliseconds
    kind: Label


class SampleFields(Fields):
    """Columns of equal length; x right, y down [mm], times from the first sight of the guide."""

    t_ms: Times
    x_mm: Positions
    y_mm: Positions
    stroke: Strokes
    pressure: Pressures | None = None
    tilt_x: Tilts | None = None
    tilt_y: Tilts | None = None
    pointer: Contacts | None = None

    def faults(self) -> Iterator[Fault]:
        """Yield a fault for each column that is not as long as the first; paths start here."""
        for name in type(self).model_fields:
            column = getattr(self, name)
            if column is not None and len(column) != len(self.t_ms):
                yield Fault(f"/{name}", UNEQUAL)


class TrialDocument(Fields):
    """One attempt at one task, as a tablet sends it."""

    format: Literal["linnet-trial/1"]
    trial_id: Uuid
    seq: Count | None = None
    plan: PlanFields | None = None
    task: TaskFields
    guide: GuideFields
    condition: ConditionFields
    device: DeviceFields
    started_at: Moment | None = None
    cue_ms: Milliseconds | None = None
    ended_by: Label | None = None
    marks: list[MarkFields] = Field(default_factory=list, max_length=MAX_MARKS)
    samples: SampleFields

    def to_trial(self) -> Trial:
        """Return the trial as the analysis takes it.

        Returns
        -------
        Trial
            Times in seconds, lengths in mm.

        Raises
        ------
        BadDocument
            If guide or samples contradict themselves.
        """
        cue_ms = self.cue_ms
        return Trial(
            trial_id=self.trial_id,
            mode=self.task.mode,
            trace=_trace(self.samples),
            guide=guide_of(self.guide),
            condition=Condition(
                hand=self.condition.hand,
                direction=self.condition.direction,
                position=self.condition.position,
                tool=self.condition.tool,
            ),
            device=Device(
                pointer_type=self.device.pointer_type,
                calibrated=self.device.calibrated,
                coalesced=self.device.coalesced,
                secure_context=self.device.secure_context,
            ),
            cue_s=None if cue_ms is None else cue_ms / 1000.0,
            marks=tuple(Mark(t_s=mark.t_ms / 1000.0, kind=mark.kind) for mark in self.marks),
            criterion=criterion_of(self.task.criterion),
            declared_guide_id=self.guide.id,
            pressure_band=_band(self.task.pressure_band),
        )

    def with_guide(self, guide: GuideFields) -> Self:
        """Return the same trial measured against another guide."""
        return self.model_copy(update={"guide": guide})


def criterion_of(fields: CriterionFields | None) -> Criterion | None:
    """Return the bound that a task asks for, if it asks for one.

    Raises
    ------
    BadDocument
        If it bounds nothing.
    """
    if fields is None:
        return None
    if fields.at_least is None and fields.at_most is None:
        raise BadDocument([Fault("/task/criterion", NO_BOUND)])
    return Criterion(fields.measure, fields.at_least, fields.at_most)


def _band(bounds: list[float] | None) -> tuple[float, float] | None:
    if bounds is None:
        return None
    low, high = bounds
    if low >= high:
        raise BadDocument([Fault("/task/pressure_band", NO_BAND)])
    return low, high


def _trace(samples: SampleFields) -> Trace:
    faults = [Fault("/samples" + fault.path, fault.detail) for fault in samples.faults()]
    if faults:
        raise BadDocument(faults)
    pressure, pointer = samples.pressure, samples.pointer
    try:
        return Trace(
            xy_mm=np.column_stack([np.array(samples.x_mm), np.array(samples.y_mm)]),
            t_s=np.array(samples.t_ms, dtype=np.float64) / 1000.0,
            stroke=np.array(samples.stroke, dtype=np.int64),
            # None becomes NaN: the sample has a place but no measured pressure.
            pressure=None if pressure is None else np.array(pressure, dtype=np.float64),
            pointer=None if pointer is None else np.array(pointer, dtype=np.int64),
        )
    except BadTrace:
        raise BadDocument([Fault("/samples", BAD_SAMPLES)]) from None


@cache
def trial_names() -> frozenset[str]:
    """Return every key that the trial format defines, at any depth."""
    return names_of(TrialDocument)


def read_trial(raw: bytes) -> TrialDocument:
    """Read a trial document, or say where it is wrong.

    Faults of structure are refused. Faults of quality (time going back, no samples, not
    calibrated, gaps) are not: they are for the analysis to flag. Unknown keys are kept.

    Parameters
    ----------
    raw : bytes
        The document exactly as received.

    Returns
    -------
    TrialDocument
        The document; `TrialDocument.to_trial` is certain to succeed.

    Raises
    ------
    BadDocument
        With status 413 if it is too large, else 422, and all faults that were found.

    Examples
    --------
    >>> read_trial(b'{"format": "linnet-trial/1"')
    Traceback (most recent call last):
    server.faults.BadDocument: (document): The document is not JSON: look at line 1, column 28.
    """
    return trial_of(read_json(raw, trial_names()))


def trial_of(tree: Any) -> TrialDocument:
    """Return the trial document of plain values; `TrialDocument.to_trial` will succeed.

    Raises
    ------
    BadDocument
        With every fault found; status 413 if a list is too long.
    """
    document = validated(TrialDocument, tree, trial_names())
    document.to_trial()
    return document


def schemas() -> dict[str, dict[str, Any]]:
    """Return the JSON schema of every document, by its name.

    Returns
    -------
    dict
        ``linnet-trial-1`` and the like, each a JSON schema (draft 2020-12).
    """
    # Loaded late: scoring needs no document but the one it reads.
    from server.schemas import all_schemas

    return all_schemas()
