"""From a trial document to its report; a crash inside loses nothing but the numbers."""

import logging
from typing import TYPE_CHECKING, Any, Protocol

from analysis import ANALYSIS_VERSION
from analysis.report import make_report
from analysis.trial import Trial
from analysis.workings import Workings
from server.logs import LOGGER, told

if TYPE_CHECKING:
    from analysis.cut import Cut
    from server.cuts import CutDocument

SCORING_FAILED = "scoring_failed"

log = logging.getLogger(LOGGER)


class TrialLike(Protocol):
    """What a trial can be made of: a document of a tablet, or ink."""

    def to_trial(self) -> Trial:
        """Return the trial as the analysis takes it."""


def score(document: TrialLike) -> dict[str, Any]:
    """Return the report of one trial.

    Parameters
    ----------
    document : TrialLike
        A document that `server.documents.read_trial` or `server.inkml.read_ink` has accepted.

    Returns
    -------
    dict
        ``linnet-report/1``. If the computing itself fails, a report without numbers and
        with the flag ``scoring_failed``: the trial is safe and can be scored again.
    """
    trial = document.to_trial()
    try:
        return make_report(Workings(trial))
    except Exception as error:  # whatever it is, the trial must not be lost
        found_by = {"trial_id": trial.trial_id}
        log.error("scoring a trial failed", extra=found_by | told(error))  # noqa: TRY400
        return failed_report(trial)


def score_cut(document: "CutDocument") -> dict[str, Any]:
    """Return the report of one cut piece.

    Parameters
    ----------
    document : CutDocument
        A document that `server.cuts.read_cut` has accepted.

    Returns
    -------
    dict
        ``linnet-cut-report/1``; if the computing fails, one without numbers and with the
        flag ``scoring_failed``.
    """
    from analysis.cut_workings import CutWorkings
    from analysis.report_cut import make_cut_report

    cut = document.to_cut()
    try:
        return make_cut_report(CutWorkings(cut))
    except Exception as error:  # whatever it is, what was entered must not be lost
        found_by = {"cut_id": cut.cut_id}
        log.error("scoring a cut failed", extra=found_by | told(error))  # noqa: TRY400
        return failed_cut_report(cut)


def failed_cut_report(cut: "Cut") -> dict[str, Any]:
    """Return the report of a cut whose scoring failed: what is known without computing.

    Parameters
    ----------
    cut : Cut
        The cut.

    Returns
    -------
    dict
        ``linnet-cut-report/1`` with the counts as entered and no measures.
    """
    return {
        "format": "linnet-cut-report/1",
        "cut_id": cut.cut_id,
        "template_id": None,
        "analysis_version": ANALYSIS_VERSION,
        "quality": {
            "calibrated": cut.calibrated,
            "point_count": 0 if cut.outline_mm is None else len(cut.outline_mm),
            "flags": [SCORING_FAILED],
        },
        "registration": {
            "kind": cut.registration,
            "rms_mm": None,
            "turned_deg": None,
            "moved_mm": None,
            "hides": None,
        },
        "measures": {},
        "counts": dict(cut.counts),
        "criterion": None,
    }


def failed_report(trial: Trial) -> dict[str, Any]:
    """Return the report of a trial whose scoring failed: what is known without computing.

    Parameters
    ----------
    trial : Trial
        The trial.

    Returns
    -------
    dict
        ``linnet-report/1`` with no ids of the guide, no measures, no events and null scores.
    """
    return {
        "format": "linnet-report/1",
        "trial_id": trial.trial_id,
        "mode": trial.mode,
        "guide_id": None,
        "path_id": None,
        "analysis_version": ANALYSIS_VERSION,
        "pointer_type": trial.device.pointer_type,
        "half_width_mm": None,
        "quality": {
            "sample_rate_hz": None,
            "longest_gap_ms": None,
            "sample_count": None,
            "calibrated": trial.device.calibrated,
            "flags": [SCORING_FAILED],
        },
        "travelled": None,
        "scores": {"on_path_pct": None, "covered_pct": None, "moving_pct": None},
        "measures": {},
        "events": {"pauses": [], "departures": [], "lifts": [], "crossings": []},
        "settings": {"grid_rate_hz": None, "pause_limit_mm_s": None},
        "contacts": None,
        "targets": None,
        "criterion": None,
    }
