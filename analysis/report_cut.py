"""One cut piece in, everything computed from it out, as plain data (linnet-cut-report/1)."""

from typing import Any

from analysis import ANALYSIS_VERSION
from analysis.cut_workings import CutWorkings
from analysis.guide import Guide
from analysis.identity import guide_id
from analysis.registry import measure_cut
from analysis.report import criterion_row, measure_row, rounded

MARKS_MISFIT_MM = 0.5
"""Marks that fit worse were mistaken for each other, seen askew, or scaled wrongly. [mm]"""

CUT_FLAGS: dict[str, str] = {
    "nothing_digitised": "No edge was digitised; only counts were entered.",
    "uncalibrated": "The scale of the photograph is not known, so nothing could be measured on it.",
    "template_open": "The template is not one closed line, so no edge can be measured against it.",
    "outline_invalid": "The outline crosses or touches itself, or is too small to be the piece.",
    "marks_misfit": "The printed marks fit badly: the piece may lie wrongly on its template.",
}
"""Every flag a cut report may carry, with the sentence a page shows."""

HIDES: dict[str, str] = {
    "shift_and_turn": "The best fit hides where on the sheet, and how far turned, the cut was."
}
"""What a way of laying the outline on the template hides, with the sentence a page shows."""


def _flags(w: CutWorkings) -> list[str]:
    cut = w.cut
    closed = w.template_polygon is not None
    misfit = cut.registration == "marks" and w.fit is not None and w.fit.rms_mm > MARKS_MISFIT_MM
    raised = {
        "nothing_digitised": cut.outline_mm is None,
        "uncalibrated": cut.outline_mm is not None and not cut.calibrated,
        "template_open": not closed,
        "outline_invalid": cut.calibrated
        and closed
        and cut.outline_mm is not None
        and w.digitised is None,
        "marks_misfit": cut.calibrated and misfit,
    }
    return [flag for flag in CUT_FLAGS if raised[flag]]


def _quality(w: CutWorkings) -> dict[str, Any]:
    outline_mm = w.cut.outline_mm
    return {
        "calibrated": w.cut.calibrated,
        "point_count": 0 if outline_mm is None else len(outline_mm),
        "flags": _flags(w),
    }


def _registration(w: CutWorkings) -> dict[str, Any]:
    """How the outline was laid; null where it was not, for lack of scale or of an outline."""
    kind = w.cut.registration
    row: dict[str, Any] = {"kind": kind, "rms_mm": None, "turned_deg": None, "moved_mm": None}
    row["hides"] = "shift_and_turn" if kind == "best_fit" else None
    if w.fit is None or not w.cut.calibrated:
        return row
    row |= {"turned_deg": rounded(w.fit.rigid.turn_deg), "moved_mm": rounded(w.moved_mm)}
    if kind != "none":
        row["rms_mm"] = rounded(w.fit.rms_mm)
    return row


def make_cut_report(w: CutWorkings) -> dict[str, Any]:
    """Return the whole report of one cut piece.

    Parameters
    ----------
    w : CutWorkings
        Of the cut.

    Returns
    -------
    dict
        Format ``linnet-cut-report/1``; JSON types only, no NaN. ``registration`` says how
        the outline was laid on the template: ``rms_mm`` is what was left of the marks or
        of the best fit; ``turned_deg`` (clockwise on the page) and ``moved_mm`` (of the
        centroid) are what laying did to the outline, null where it was not laid; ``hides``
        is a key of `HIDES` or null. Counts are as entered.

    Examples
    --------
    >>> from analysis.cut import Cut
    >>> from analysis.guide import Part
    >>> square = Part([[0, 0], [40, 0], [40, 40], [0, 40]], closed=True)
    >>> report = make_cut_report(CutWorkings(Cut("c", square, counts={"snips": 6})))
    >>> report["counts"], report["measures"]["cut_overlap"]["reason"]
    ({'snips': 6}, 'no_samples')
    """
    values = measure_cut(w)
    return {
        "format": "linnet-cut-report/1",
        "cut_id": w.cut.cut_id,
        "template_id": guide_id(Guide((w.cut.template,))),
        "analysis_version": ANALYSIS_VERSION,
        "quality": _quality(w),
        "registration": _registration(w),
        "measures": {name: measure_row(name, value) for name, value in values.items()},
        "counts": dict(w.cut.counts),
        "criterion": criterion_row(w.cut.criterion, values),
    }
