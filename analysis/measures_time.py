"""Measures of time, pauses and lifts."""

from typing import Any

from analysis.kinematics import Kinematics
from analysis.measure import ALL_MODES, JOINED_MODES, TIMED_MODES, TrialMeasure
from analysis.needs import SPEED, TIMED
from analysis.pauses import LONG_PAUSE_S
from analysis.value import Refused
from analysis.workings import Workings

TIME = "Time"
PAUSES = "Pauses and lifts"
CONVENTION = "Linnet convention"
LIMITS = "Linnet convention; limits in use: Pascual, Soler & Salas 2023, Front. Psychol. 13:1052264"
# Kind of the mark of a line that was begun although a go signal was still to come.
EARLY = "touched_before_go"
PAUSE = (
    "A pause is a run of at least 0.2 s in which the filtered speed is below 5 mm/s (below half "
    "the median moving speed, at least 1 mm/s, where that median is under 10 mm/s), ends by "
    "linear interpolation, runs less than 50 ms apart merged, begun after the pen was 2 mm away "
    "from its first contact. "
)


def moving(w: Workings) -> Kinematics:
    """Return the movement in time, or refuse with ``no_time``."""
    if w.kinematics is None:
        raise Refused("no_time")
    return w.kinematics


def _initiation(w: Workings) -> float:
    # Counted from first sight it would be another quantity than those beside it in its series.
    early = any(mark.kind == EARLY for mark in w.trial.marks)
    if early or (w.trial.cue_s is None and not w.trial.shown_at_zero):
        raise Refused("no_time")
    return moving(w).stroke_times_s[0][0] - (w.trial.cue_s or 0.0)


def _start_dwell(w: Workings) -> float:
    dwell_s = moving(w).start_dwell_s
    if dwell_s is None:
        raise Refused("too_little_traced")
    return dwell_s


def _seconds(id_: str, label: str, meaning: str, function: Any, **more: Any) -> TrialMeasure:
    fields: dict[str, Any] = {"family": TIME, "needs": TIMED, "modes": TIMED_MODES, "decimals": 2}
    fields |= {"source": CONVENTION} | more
    return TrialMeasure(id=id_, label=label, unit="s", meaning=meaning, function=function, **fields)


def _count(id_: str, label: str, meaning: str, function: Any, **more: Any) -> TrialMeasure:
    fields: dict[str, Any] = {"family": PAUSES, "better": "low", "decimals": 0}
    fields |= {"source": LIMITS} | more
    return TrialMeasure(id=id_, label=label, unit="1", meaning=meaning, function=function, **fields)


TIME_MEASURES: tuple[TrialMeasure, ...] = (
    _seconds(
        "initiation_time",
        "Time before starting",
        "From the go signal, or from the guide being shown, to the first contact.",
        _initiation,
        modes=ALL_MODES,
        formula="t of the first sample less t of the go signal; without a signal, less 0, the "
        "moment at which the guide was shown.",
        edges="Refused where the child began before a signal that was then not given. Negative "
        "where the signal came after the first contact. To one sample step.",
    ),
    _seconds(
        "start_dwell",
        "Time resting at the start",
        "From the first contact until the pen is 2 mm away from it.",
        _start_dwell,
        modes=JOINED_MODES,
        refuses=frozenset({"too_little_traced"}),
        formula="First t at which |p(t) - p_1| = 2 mm, linear between samples, less t_1.",
        edges="Noise of the position shortens it only once it comes near 2 mm. A lift before 2 mm "
        "were reached ends it at the next contact.",
    ),
    _seconds(
        "duration",
        "Time from first contact to last lift",
        "From the first contact to the last lift.",
        lambda w: moving(w).duration_s,
        modes=ALL_MODES,
        formula="t_n - t_1 of the last and the first sample; time in the air included.",
        edges="To one sample step. Stray contacts at the end lengthen it.",
    ),
    _seconds(
        "pen_down_time",
        "Time with the pen down",
        "Sum of the times of all strokes.",
        lambda w: moving(w).pen_down_s,
        formula="Sum over strokes of the time from their first to their last sample.",
        edges="Each stroke is up to one sample step too short. Contacts shorter than 30 ms and 1 "
        "mm are sensor bounce and left out (except in mode tap).",
    ),
    _seconds(
        "moving_time",
        "Time moving",
        "Pen-down time less pauses and less slow runs inside the start dwell.",
        lambda w: moving(w).moving_s,
        needs=SPEED,
        modes=JOINED_MODES,
        source=LIMITS,
        formula=PAUSE + "pen_down_time less the pauses, less slow runs of the same kind that begin "
        "inside the start dwell, up to its end.",
        edges="At 30 to 45 mm/s the filter eats 0.025 to 0.05 s of every pause: it is that much "
        "too long.",
    ),
)

PAUSE_MEASURES: tuple[TrialMeasure, ...] = (
    _count(
        "pause_count",
        "Pauses",
        "Runs of at least 0.2 s below 5 mm/s with the pen down, after the movement began.",
        lambda w: float(len(moving(w).pauses)),
        needs=SPEED,
        formula=PAUSE + "Their number.",
        edges="A pen that rests and reports nothing counts as resting where it is. A stop shorter "
        "than about 0.25 s may be missed: the filter eats 0.025 to 0.05 s of it.",
    ),
    _count(
        "pause_count_2s",
        "Long pauses",
        "Pauses of at least 2 s.",
        lambda w: float(sum(p.duration_s >= LONG_PAUSE_S for p in moving(w).pauses)),
        needs=SPEED,
        formula=PAUSE + "The number of those of at least 2 s.",
        edges="A stop of exactly 2 s is missed: the filter eats 0.025 to 0.05 s of it.",
    ),
    _seconds(
        "pause_time",
        "Time paused",
        "Time in pauses.",
        lambda w: moving(w).pause_s,
        family=PAUSES,
        needs=SPEED,
        source=LIMITS,
        better="low",
        modes=frozenset({"trace", "cut"}),
        formula=PAUSE + "Sum of their times.",
        edges="Each is 0.025 to 0.05 s too short, the more the faster the hand and the lower the "
        "sampling rate.",
    ),
    _count(
        "lift_count",
        "Pen lifts",
        "Strokes less one; contacts shorter than 30 ms and 1 mm are sensor bounce.",
        lambda w: float(len(w.strokes_mm) - 1),
        needs=frozenset({"samples"}),
        source=CONVENTION,
        formula="Number of strokes less one; contacts shorter than 30 ms and spread over less "
        "than 1 mm are left out, unless there are no others.",
        edges="Without times no contact can be told from bounce, and all count. A guide of several "
        "parts asks for lifts; they count too.",
    ),
    _seconds(
        "in_air_time",
        "Time in the air",
        "Sum of the times between the first and the last stroke with the pen up.",
        lambda w: moving(w).in_air_s,
        family=PAUSES,
        better="low",
        source="Rosenblum, Parush & Weiss 2003, Percept. Mot. Skills 96:933 (from memory)",
        formula="Sum over lifts of t of the next stroke's first sample less t of the last sample "
        "before.",
        edges="Each lift is up to two sample steps too long. 0 without a lift. Where the pen was "
        "meanwhile is not known. Lifts that a guide of several parts asks for count too.",
    ),
)
