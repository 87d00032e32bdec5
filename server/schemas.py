"""The JSON schema of every document that Linnet reads or writes."""

from typing import Any, Literal

from pydantic import Field

from analysis.trial import Mode
from server.cuts import CutDocument
from server.documents import TrialDocument
from server.entries import EntryDocument
from server.fields import Code, Count, Fields, Label, Uuid
from server.formats import (
    MetFields,
    ReportDocument,
    TaskDocument,
    ValueFields,
)
from server.plan_formats import DayDocument, PlanDocument

DIALECT = "https://json-schema.org/draft/2020-12/schema"


class CutQualityFields(Fields):
    """What the digitised edge allows."""

    calibrated: bool
    point_count: Count
    flags: list[Label]


class LaidFields(Fields):
    """How the edge was laid on its template; null where it could not be."""

    kind: Literal["marks", "best_fit", "none"]
    rms_mm: float | None
    turned_deg: float | None
    moved_mm: float | None
    hides: Label | None


class CutReportDocument(Fields):
    """Everything computed from one cut piece."""

    format: Literal["linnet-cut-report/1"]
    cut_id: Uuid
    template_id: Code | None
    analysis_version: str
    quality: CutQualityFields
    registration: LaidFields
    measures: dict[Label, ValueFields]
    counts: dict[Label, Count]
    criterion: MetFields | None


class EntryQualityFields(Fields):
    """What is to be known of how the numbers came about."""

    flags: list[Label]


class EnteredFields(Fields):
    """What was entered, as it was entered; null where nothing was."""

    counts: dict[Label, Count]
    largest_stray_mm: float | None
    duration_s: float | None
    corridor_mm: float | None


class EntryMetFields(Fields):
    """Whether the task's criterion was met; null if what it is on was not entered."""

    count: Label | None
    entered: Literal["largest_stray_mm"] | None
    met: bool | None
    value: float | None


class EntryReportDocument(Fields):
    """What was entered of one attempt on paper; there are never measures."""

    format: Literal["linnet-entry-report/1"]
    entry_id: Uuid
    mode: Mode
    analysis_version: str
    quality: EntryQualityFields
    entered: EnteredFields
    measures: dict[Label, ValueFields] = Field(max_length=0)
    criterion: EntryMetFields | None


FORMATS: dict[str, type[Fields]] = {
    "linnet-trial-1": TrialDocument,
    "linnet-cut-1": CutDocument,
    "linnet-entry-1": EntryDocument,
    "linnet-report-1": ReportDocument,
    "linnet-cut-report-1": CutReportDocument,
    "linnet-entry-report-1": EntryReportDocument,
    "linnet-task-1": TaskDocument,
    "linnet-plan-1": PlanDocument,
    "linnet-day-1": DayDocument,
}


def all_schemas() -> dict[str, dict[str, Any]]:
    """Return the JSON schema of every document, by its name."""
    return {name: _schema(name, model) for name, model in FORMATS.items()}


def _schema(name: str, model: type[Fields]) -> dict[str, Any]:
    schema = model.model_json_schema(mode="validation")
    return {"$schema": DIALECT, "$id": f"/api/schemas/{name}"} | schema
