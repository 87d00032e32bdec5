"""Columns that stand in tables beside the measures: conditions, quality, how a cut was laid."""

from typing import NamedTuple

Cell = str | float | int | bool | None


class ColumnInfo(NamedTuple):
    """One column of a table.

    Attributes
    ----------
    name : str
        Header.
    type : str
        ``string``, ``number``, ``integer`` or ``boolean`` (Data Package types).
    unit : str
        UCUM code; empty for text.
    label, meaning, source : str
        For people: a short name, a sentence, and where the definition is from.
    """

    name: str
    type: str
    unit: str
    label: str
    meaning: str
    source: str


LINNET = "Linnet"

CONDITION_COLUMNS = (
    ColumnInfo("task_id", "string", "", "Task", "Which task was asked.", LINNET),
    ColumnInfo("task_revision", "integer", "1", "Task revision", "Version of the task.", LINNET),
    ColumnInfo("mode", "string", "", "Mode", "trace, cut, tap, join or both.", LINNET),
    ColumnInfo("use", "string", "", "Use", "probe (kept equal) or practice (graded).", LINNET),
    ColumnInfo("hand", "string", "", "Hand", "Hand asked: left, right, free or both.", LINNET),
    ColumnInfo("direction", "string", "", "Direction", "Direction asked.", LINNET),
    ColumnInfo("position", "string", "", "Position", "Posture asked.", LINNET),
    ColumnInfo("tool", "string", "", "Tool", "stylus, finger or other tool asked.", LINNET),
    ColumnInfo(
        "tablet_at",
        "string",
        "",
        "Tablet at",
        "Where the tablet lay: centred, left or right of the body; empty if nobody said.",
        LINNET,
    ),
    ColumnInfo(
        "surface",
        "string",
        "",
        "Surface",
        "What the tablet lay on: flat, sloped, upright or floor; empty if nobody said.",
        LINNET,
    ),
)

REPORT_COLUMNS = (
    ColumnInfo("guide_id", "string", "", "Guide", "Equal for equal path and corridor.", LINNET),
    ColumnInfo("path_id", "string", "", "Path", "Equal for equal path, any width.", LINNET),
    ColumnInfo(
        "half_width_mm",
        "number",
        "mm",
        "Each side",
        "Half the width of the corridor; empty where it varies along the guide.",
        LINNET,
    ),
    ColumnInfo("analysis_version", "string", "", "Analysis", "Version that computed.", LINNET),
    ColumnInfo(
        "travelled", "string", "", "Travelled", "Direction in which the line was drawn.", LINNET
    ),
    ColumnInfo(
        "pointer_type", "string", "", "Pointer", "pen, touch or mouse, as the tablet said.", LINNET
    ),
    ColumnInfo(
        "calibrated", "boolean", "", "Calibrated", "Whether lengths in mm are known.", LINNET
    ),
    ColumnInfo("sample_rate_hz", "number", "Hz", "Sampling rate", "Median rate, pen down.", LINNET),
    ColumnInfo(
        "longest_gap_ms", "number", "ms", "Longest gap", "Longest time without a sample.", LINNET
    ),
    ColumnInfo(
        "flags", "string", "", "Flags", "Codes of what limits the trial, with spaces.", LINNET
    ),
    ColumnInfo(
        "on_path_pct",
        "number",
        "%",
        "On path",
        "Share of the guide drawn inside the corridor; read it with half_width_mm.",
        LINNET,
    ),
    ColumnInfo("covered_pct", "number", "%", "Covered", "Share of the guide drawn.", LINNET),
    ColumnInfo("moving_pct", "number", "%", "Moving", "Share of the time in motion.", LINNET),
    ColumnInfo(
        "criterion_met", "boolean", "", "Criterion met", "Empty where it cannot be said.", LINNET
    ),
    ColumnInfo(
        "refused",
        "string",
        "",
        "Refused",
        "Measures without a value and why, as id=reason with spaces.",
        LINNET,
    ),
)


# A cut shares the columns of task, condition, calibration, flags and criterion with trials.
CUT_COLUMNS = (
    ColumnInfo("cut_id", "string", "", "Cut", "Which cut piece; empty for a trial.", LINNET),
    ColumnInfo(
        "cut_template_id", "string", "", "Template", "Equal for equal line and band.", LINNET
    ),
    ColumnInfo(
        "cut_registration",
        "string",
        "",
        "Laid by",
        "How the edge was laid on its template: marks, best_fit (hides shift and turn) or none.",
        LINNET,
    ),
    ColumnInfo(
        "cut_registration_rms_mm",
        "number",
        "mm",
        "Misfit",
        "What was left of the marks or of the best fit, as root mean square.",
        LINNET,
    ),
    ColumnInfo(
        "cut_band_mm", "number", "mm", "Band", "Distance each side that is near enough.", LINNET
    ),
    ColumnInfo(
        "cut_counts",
        "string",
        "",
        "Counted",
        "What an adult counted, as name=number with spaces.",
        LINNET,
    ),
)

# An entry shares the columns of task, condition, flags and criterion with trials.
ENTRY_COLUMNS = (
    ColumnInfo(
        "entry_id", "string", "", "Entry", "Which entry from paper; empty for others.", LINNET
    ),
    ColumnInfo(
        "entered_counts",
        "string",
        "",
        "Entered counts",
        "What an adult counted on paper, as name=number with spaces.",
        LINNET,
    ),
    ColumnInfo(
        "entered_stray_mm",
        "number",
        "mm",
        "Entered stray",
        "Farthest from the line, by ruler; never compared with what Linnet measured.",
        LINNET,
    ),
    ColumnInfo(
        "entered_duration_s", "number", "s", "Entered time", "How long it took, by watch.", LINNET
    ),
    ColumnInfo(
        "entered_corridor_mm",
        "number",
        "mm",
        "Entered width",
        "Full width of the band that was asked for.",
        LINNET,
    ),
)
