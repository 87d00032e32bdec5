"""What every column means: the only source of headers and of the data dictionary."""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from analysis.measure import Scope
from analysis.registry import MEASURES, Measure, column
from server.columns import (
    CONDITION_COLUMNS,
    CUT_COLUMNS,
    ENTRY_COLUMNS,
    REPORT_COLUMNS,
    Cell,
    ColumnInfo,
)

if TYPE_CHECKING:
    from server.cuts import CutDocument, CutTaskFields
    from server.documents import ConditionFields, TaskFields, TrialDocument
    from server.entries import EntryDocument, EntryTaskFields
    from server.inkml import InkDocument

ENDS = ("low", "high")


def measures_of(scope: Scope) -> tuple[Measure, ...]:
    """Return the measures of one scope, in the order of report, table and dictionary."""
    return tuple(measure for measure in MEASURES if measure.scope == scope)


def _columns_of(measure: Measure) -> list[ColumnInfo]:
    own = ColumnInfo(
        name=column(measure),
        type="number",
        unit=measure.unit,
        label=measure.label,
        meaning=measure.meaning,
        source=measure.source,
    )
    ends = [
        own._replace(
            name=f"{own.name}_{end}",
            label=f"{measure.label}, {end} end",
            meaning=f"The {end} end of its interval. {measure.formula}",
        )
        for end in ENDS
    ]
    return [own, *ends] if measure.interval else [own]


def measure_columns(scope: Scope = "trial") -> list[ColumnInfo]:
    """Return the columns of the measures of one scope, from the registry.

    Parameters
    ----------
    scope : {"trial", "cut", "series"}
        What the measures are computed from.

    Returns
    -------
    list of ColumnInfo
        One for each measure, and two more for the interval of those that have one.
    """
    return [info for measure in measures_of(scope) for info in _columns_of(measure)]


def trial_columns() -> list[ColumnInfo]:
    """Return the columns that document and report give to a table of trials."""
    return [*CONDITION_COLUMNS, *REPORT_COLUMNS, *measure_columns()]


def scored_columns() -> list[ColumnInfo]:
    """Return the columns of a table that may hold trials, cuts and entries."""
    return [*trial_columns(), *CUT_COLUMNS, *measure_columns("cut"), *ENTRY_COLUMNS]


def trial_cells(
    document: "TrialDocument | InkDocument", report: Mapping[str, Any]
) -> dict[str, Cell]:
    """Return the cells of one trial, one for each of `trial_columns`.

    Parameters
    ----------
    document : TrialDocument or InkDocument
        The trial; nothing that could name a child is taken from it.
    report : mapping
        Its ``linnet-report/1``.

    Returns
    -------
    dict
        Column name to value; None where there is none.
    """
    return _condition_cells(document.task, document.condition) | report_cells(report)


def report_cells(report: Mapping[str, Any]) -> dict[str, Cell]:
    """Return the cells that a report gives: all but those of `CONDITION_COLUMNS`."""
    return _quality_cells(report) | _measure_cells(report["measures"], "trial")


def cut_cells(document: "CutDocument", report: Mapping[str, Any]) -> dict[str, Cell]:
    """Return the cells of one cut piece, for those of `scored_columns` that it has.

    Parameters
    ----------
    document : CutDocument
        The cut; nothing that could name a child is taken from it.
    report : mapping
        Its ``linnet-cut-report/1``.

    Returns
    -------
    dict
        Column name to value.
    """
    quality, laid = report["quality"], report["registration"]
    return (
        _condition_cells(document.task, document.condition)
        | {
            "analysis_version": report["analysis_version"],
            "calibrated": quality["calibrated"],
            "flags": " ".join(quality["flags"]),
            "criterion_met": (report["criterion"] or {}).get("met"),
            "refused": _refused(report["measures"]),
            "cut_id": report["cut_id"],
            "cut_template_id": report["template_id"],
            "cut_registration": laid["kind"] if document.outline is not None else None,
            "cut_registration_rms_mm": laid["rms_mm"],
            "cut_band_mm": document.each_side_mm,
            "cut_counts": _counted(report["counts"]),
        }
        | _measure_cells(report["measures"], "cut")
    )


def entry_cells(document: "EntryDocument", report: Mapping[str, Any]) -> dict[str, Cell]:
    """Return the cells of one entry, for those of `scored_columns` that it has.

    Parameters
    ----------
    document : EntryDocument
        The entry; nothing that could name a child is taken from it.
    report : mapping
        Its ``linnet-entry-report/1``.

    Returns
    -------
    dict
        Column name to value.
    """
    entered = report["entered"]
    return _condition_cells(document.task, document.condition) | {
        "analysis_version": report["analysis_version"],
        "flags": " ".join(report["quality"]["flags"]),
        "criterion_met": (report["criterion"] or {}).get("met"),
        "entry_id": report["entry_id"],
        "entered_counts": _counted(entered["counts"]),
        "entered_stray_mm": entered["largest_stray_mm"],
        "entered_duration_s": entered["duration_s"],
        "entered_corridor_mm": entered["corridor_mm"],
    }


def _counted(counts: Mapping[str, int]) -> str:
    return " ".join(f"{name}={count}" for name, count in counts.items())


def _condition_cells(
    task: "TaskFields | CutTaskFields | EntryTaskFields", condition: "ConditionFields"
) -> dict[str, Cell]:
    return {
        "task_id": task.task_id,
        "task_revision": task.revision,
        "mode": task.mode,
        "use": task.use,
        "hand": condition.hand,
        "direction": condition.direction,
        "position": condition.position,
        "tool": condition.tool,
        "tablet_at": condition.tablet_at,
        "surface": condition.surface,
    }


def _refused(values: Mapping[str, Any]) -> str:
    return " ".join(
        f"{measure_id}={value['reason']}"
        for measure_id, value in values.items()
        if value["value"] is None
    )


def _quality_cells(report: Mapping[str, Any]) -> dict[str, Cell]:
    quality, scores = report["quality"], report["scores"]
    same = ("guide_id", "path_id", "half_width_mm", "analysis_version", "travelled")
    return {name: report[name] for name in same} | {
        "pointer_type": report["pointer_type"],
        "calibrated": quality["calibrated"],
        "sample_rate_hz": quality["sample_rate_hz"],
        "longest_gap_ms": quality["longest_gap_ms"],
        "flags": " ".join(quality["flags"]),
        "on_path_pct": scores["on_path_pct"],
        "covered_pct": scores["covered_pct"],
        "moving_pct": scores["moving_pct"],
        "criterion_met": (report["criterion"] or {}).get("met"),
        "refused": _refused(report["measures"]),
    }


def _measure_cells(values: Mapping[str, Any], scope: Scope) -> dict[str, Cell]:
    return cells_of(scope, lambda name, end: values.get(name, {}).get(end))


def cells_of(scope: Scope, read: Callable[[str, str], Cell]) -> dict[str, Cell]:
    """Return the cells of `measure_columns`.

    Parameters
    ----------
    scope : {"trial", "cut", "series"}
        What the measures are computed from.
    read : callable
        Gives ``value``, ``low`` or ``high`` of the measure with an id.

    Returns
    -------
    dict
        Column name to value; None where there is none.
    """
    cells: dict[str, Cell] = {}
    for measure in measures_of(scope):
        name = column(measure)
        cells[name] = read(measure.id, "value")
        if measure.interval:
            cells |= {f"{name}_{end}": read(measure.id, end) for end in ENDS}
    return cells
