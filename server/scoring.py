"""From a trial document to its report; a crash inside loses nothing but the numbers."""

import logging
from typing import Any

from analysis import ANALYSIS_VERSION
from analysis.report import make_report
from analysis.trial import Trial
from analysis.workings import Workings
from server.documents import TrialDocument

SCORING_FAILED = "scoring_failed"

log = logging.getLogger("linnet")


def score(document: TrialDocument) -> dict[str, Any]:
    """Return the report of one trial.

    Parameters
    ----------
    document : TrialDocument
        A document that `server.documents.read_trial` has accepted.

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
        # Only the kind of the error: the log is no place for a child's data.
        log.error("scoring trial %s failed: %s", trial.trial_id, type(error).__name__)  # noqa: TRY400
        return failed_report(trial)


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
            "calibrated": trial.device.calibrated,
            "flags": [SCORING_FAILED],
        },
        "travelled": None,
        "scores": {"on_path_pct": None, "covered_pct": None, "moving_pct": None},
        "measures": {},
        "events": {"pauses": [], "departures": [], "lifts": [], "crossings": []},
        "criterion": None,
    }
