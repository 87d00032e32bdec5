"""What lists and series need of what was done on paper: cut pieces and entries."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis.guide import Guide, Part
from analysis.identity import guide_id, path_id
from server.facts import asked_of

if TYPE_CHECKING:
    from server.cuts import CutDocument
    from server.entries import EntryDocument

NO_SCORES = {"on_path_pct": None, "covered_pct": None, "moving_pct": None}


# What only a tablet can say.
_NOT_ON_PAPER: dict[str, Any] = {
    "pointer_type": None,
    "calibration_id": None,
    "ended_by": None,
    "midline_offset_mm": None,
    "travelled": None,
    "scores": NO_SCORES,
}


def cut_facts(
    document: "CutDocument", report: Mapping[str, Any], hand_used: str | None = None
) -> dict[str, Any]:
    """Return what lists and series need of a cut piece, in plain types.

    Parameters
    ----------
    document : CutDocument
        A cut, amendments included.
    report : mapping
        Its ``linnet-cut-report/1``.
    hand_used : str or None
        The hand that held the scissors, as amended.

    Returns
    -------
    dict
        The keys of a trial's facts, and `laid`: how the edge was laid on its template, which
        changes what its measures see. `guide_id` is that of the template with the band that
        was measured with, so that another band is another guide.
    """
    template = _banded(document)
    return asked_of(document, hand_used) | {
        **_NOT_ON_PAPER,
        "guide_id": guide_id(template),
        "path_id": path_id(template),
        "half_width_mm": document.each_side_mm,
        "laid": None if document.outline is None else report["registration"]["kind"],
        "criterion": report["criterion"],
        "calibrated": report["quality"]["calibrated"],
        "flags": report["quality"]["flags"],
        "counts": report["counts"],
    }


def _banded(document: "CutDocument") -> Guide:
    part = document.to_cut().template
    if document.band_mm is None:
        return Guide((part,))
    band_mm = np.array(2.0 * document.band_mm)
    return Guide((Part(part.points_mm, closed=True, corridor_mm=band_mm),))


def entry_facts(
    document: "EntryDocument", report: Mapping[str, Any], hand_used: str | None = None
) -> dict[str, Any]:
    """Return what lists need of an entry, in plain types.

    Parameters
    ----------
    document : EntryDocument
        An entry, amendments included.
    report : mapping
        Its ``linnet-entry-report/1``.
    hand_used : str or None
        The hand that was used, as amended.

    Returns
    -------
    dict
        The keys of a trial's facts. No guide is known, so that it is in no series;
        `calibrated` is null: a ruler needs no calibration.
    """
    entered = report["entered"]
    width_mm = entered["corridor_mm"]
    return asked_of(document, hand_used) | {
        **_NOT_ON_PAPER,
        "guide_id": None,
        "path_id": None,
        "half_width_mm": None if width_mm is None else width_mm / 2.0,
        "laid": None,
        "criterion": report["criterion"],
        "calibrated": None,
        "flags": report["quality"]["flags"],
        "counts": entered["counts"],
        "largest_stray_mm": entered["largest_stray_mm"],
        "duration_s": entered["duration_s"],
    }
