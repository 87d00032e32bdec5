"""The documents that Linnet writes, for their JSON schemas: report and task."""

from typing import Any, Literal

from pydantic import Field

from analysis.trial import Mode
from server.cut_fields import TemplateFields
from server.documents import CriterionFields
from server.fields import (
    Band,
    Code,
    Count,
    Direction,
    Extent,
    Fields,
    Label,
    Line,
    Radius,
    Share,
    Use,
    Uuid,
)
from server.guides import PAIRS, PartFields, TargetFields
from server.plan_formats import NEEDS


class QualityFields(Fields):
    """How well the device recorded the trial."""

    sample_rate_hz: float | None
    longest_gap_ms: float | None
    sample_count: Count | None
    calibrated: bool
    flags: list[Label]


class ScoreFields(Fields):
    """Three readings of 0 to 100; never added up. null where their measure is refused."""

    on_path_pct: float | None
    covered_pct: float | None
    moving_pct: float | None


class ValueFields(Fields):
    """A finite number with its unit (UCUM), or null with a reason code.

    `low` and `high` are the ends of the number's interval, where its measure has one.
    """

    value: float | None
    unit: str
    reason: Label | None = None
    low: float | None = None
    high: float | None = None


class PauseFields(Fields):
    """A stretch with the pen down but still."""

    start_ms: float
    end_ms: float
    x_mm: float
    y_mm: float
    at_mm: float | None
    pointer: int | None = None


class DepartureFields(Fields):
    """A stretch outside the corridor; times null without a clock."""

    start_ms: float | None
    end_ms: float | None
    from_mm: float
    to_mm: float
    length_mm: float
    max_beyond_mm: float
    pointer: int | None = None


class LiftFields(Fields):
    """The gap between two strokes; times null without a clock."""

    start_ms: float | None
    end_ms: float | None
    from_x_mm: float
    from_y_mm: float
    to_x_mm: float
    to_y_mm: float
    at_mm: float | None
    pointer: int | None = None


class CrossingFields(Fields):
    """A passage over the midline; time null without a clock."""

    t_ms: float | None
    x_mm: float
    y_mm: float
    towards: Literal["left", "right"]
    lifted: bool
    pointer: int | None = None


class EventFields(Fields):
    """What happened when and where."""

    pauses: list[PauseFields]
    departures: list[DepartureFields]
    lifts: list[LiftFields]
    crossings: list[CrossingFields]


class MetFields(Fields):
    """Whether the task's criterion was met; null for technical reasons."""

    measure: Label
    met: bool | None
    value: float | None


class SettingFields(Fields):
    """Conventions that vary from trial to trial; null where they were not used."""

    grid_rate_hz: float | None
    pause_limit_mm_s: float | None


class ContactFields(Fields):
    """One of two contacts at once, measured as a trace of the part of the guide it follows."""

    pointer: Literal[0, 1]
    part: int | None
    settings: SettingFields
    measures: dict[Label, ValueFields]


class AimFields(Fields):
    """How many dots there were, and how many of them were met."""

    count: Count
    contacted: Count


class ReportDocument(Fields):
    """Everything computed from one trial.

    `contacts` in mode `both` only, `targets` in modes `tap` and `join` only.
    """

    format: Literal["linnet-report/1"]
    trial_id: Uuid
    mode: Mode
    guide_id: Code | None
    path_id: Code | None
    analysis_version: str
    pointer_type: str
    half_width_mm: float | None
    quality: QualityFields
    travelled: Direction | None
    scores: ScoreFields
    measures: dict[Label, ValueFields]
    events: EventFields
    settings: SettingFields
    contacts: list[ContactFields] | None
    targets: AimFields | None
    criterion: MetFields | None


class GradeFields(Fields):
    """The steps easier (`down`) and harder (`up`) than the usual one, nearest first."""

    down: dict[str, Any] = Field(default_factory=dict)
    up: dict[str, Any] = Field(default_factory=dict)


class TaskDocument(Fields):
    """A guide in local coordinates, a mode, a criterion and how to grade it.

    `medium` is where it belongs; `template` is what a cut piece is compared with; what is
    `counted` is entered by an adult, beside what was asked (`counts_asked`).
    """

    format: Literal["linnet-task/1"] = "linnet-task/1"
    task_id: Code
    revision: Count
    name: Line
    mode: Mode
    use: Use
    medium: Literal["tablet", "paper", "large_screen"] | None = None
    shape: Label | None = None
    size_mm: Extent | None = None
    direction: Direction
    reversible: bool
    parts: list[PartFields] | None = None
    targets_mm: list[TargetFields] | None = None
    pairs: bool | None = Field(default=None, description=PAIRS)
    about_midline: bool = Field(
        default=False, description="Whether it is placed about the midline, where that is known."
    )
    start_radius_mm: Radius | None = None
    stop_radius_mm: Radius | None = None
    template: TemplateFields | None = None
    counts_asked: dict[Label, Count] | None = None
    counted: list[Label] | None = None
    stiffness: list[Label] | None = Field(
        default=None, description="What it is cut from, easiest first."
    )
    criterion: CriterionFields | None = None
    needs: list[Label] | None = Field(default=None, description=NEEDS)
    pressure_half_band: Share | None = Field(
        default=None, description="Each side of the child's own median, a share of the pen's range."
    )
    pressure_band: Band | None = None
    grade: GradeFields | None = None
    cautions: list[str] = Field(default_factory=list)
    source: str | None = None
