"""Which flags a trial carries (see `analysis.quality.FLAGS`)."""

from typing import TYPE_CHECKING

from analysis import quality
from analysis.identity import guide_id
from analysis.ways import is_mismatched

if TYPE_CHECKING:
    from analysis.workings import Workings


def flags_of(w: "Workings") -> list[str]:
    """Return the codes of all flags that apply, in the order of `analysis.quality.FLAGS`."""
    present = _record_flags(w) | _trial_flags(w)
    return [code for code in quality.FLAGS if code in present]


def _record_flags(w: "Workings") -> set[str]:
    device = w.trial.device
    moving = w.kinematics
    checks = {
        "uncalibrated": not device.calibrated,
        "finger": device.pointer_type == "touch",
        "mouse": device.pointer_type == "mouse",
        "parent_events_only": device.coalesced is False,
        "insecure_context": device.secure_context is False,
        "low_rate": _is_slow(w),
        "time_not_monotone": not w.quality.monotone,
        "coarse_positions": w.quality.coarse,
        "gaps_filled": moving is not None and moving.filled_count > 0,
        "gap_too_long": moving is not None and moving.lost_share > quality.LOST_SHARE,
    }
    return {code for code, applies in checks.items() if applies}


def _is_slow(w: "Workings") -> bool:
    if w.trace.t_s is None or len(w.trace) < 2:
        return False
    if w.trial.mode == "tap" and w.quality.rate_hz is None:
        return False  # taps of one sample each have no rate that could be low
    return not w.quality.meets(quality.SPEED_RATE_HZ)


def _trial_flags(w: "Workings") -> set[str]:
    guide, declared = w.asked_guide, w.trial.declared_guide_id
    drawn = [w.alignment, *(contact.workings.alignment for contact in w.contacts)]
    lines = [line for line in drawn if line is not None]
    checks = {
        "nothing_drawn": len(w.trace) == 0,
        "partial": bool(lines) and w.line_completion < quality.PARTIAL_COMPLETION,
        "traced_other_way": any(line.other_way for line in lines),
        "direction_mismatch": is_mismatched(w),
        "guide_id_differs": declared is not None
        and guide is not None
        and declared != guide_id(guide),
        "midline_assumed": guide is not None
        and guide.midline_x_mm is not None
        and guide.midline_source == "device_centre",
    }
    return {code for code, applies in checks.items() if applies}
