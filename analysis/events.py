"""The events of a trial as plain data for the report."""

from typing import TYPE_CHECKING, Any

import numpy as np

from analysis.pauses import lifts
from analysis.value import Refused

if TYPE_CHECKING:
    from analysis.workings import Workings

EVENTS = ("pauses", "departures", "lifts", "crossings")
"""Kinds of events, in the order of the report."""
INDICES = ("start_index", "end_index")
"""Keys of an event that are places in the list of samples."""


def milliseconds(t_s: float | None) -> float | None:
    """Return a time in ms, to a tenth; None stays None."""
    return None if t_s is None else round(1000.0 * t_s, 1)


def millimetres(x_mm: float | None) -> float | None:
    """Return a length rounded to a hundredth; None stays None."""
    return None if x_mm is None else round(x_mm, 2)


def _pauses(w: "Workings") -> list[dict[str, Any]]:
    # A pen that rests on a dot it taps makes no pause.
    if not w.pausing or w.kinematics is None or w.trial.mode == "tap":
        return []
    return [
        {
            "start_ms": milliseconds(pause.start_s),
            "end_ms": milliseconds(pause.end_s),
            "x_mm": millimetres(pause.x_mm),
            "y_mm": millimetres(pause.y_mm),
            "at_mm": millimetres(pause.at_mm),
        }
        for pause in w.kinematics.pauses
    ]


def _departures(w: "Workings") -> list[dict[str, Any]]:
    try:
        found = w.departures
    except Refused:
        return []
    return [
        {
            "start_ms": milliseconds(one.start_s) if w.quality.monotone else None,
            "end_ms": milliseconds(one.end_s) if w.quality.monotone else None,
            "from_mm": millimetres(one.from_mm),
            "to_mm": millimetres(one.to_mm),
            "length_mm": millimetres(one.length_mm),
            "max_beyond_mm": millimetres(one.beyond_mm),
            "start_index": one.first,
            "end_index": one.last,
        }
        for one in found
    ]


def _lifts(w: "Workings") -> list[dict[str, Any]]:
    s_mm = None if w.alignment is None else w.alignment.s_mm
    believed = w.quality.monotone
    return [
        {
            "start_ms": milliseconds(lift.start_s) if believed else None,
            "end_ms": milliseconds(lift.end_s) if believed else None,
            "from_x_mm": millimetres(lift.from_x_mm),
            "from_y_mm": millimetres(lift.from_y_mm),
            "to_x_mm": millimetres(lift.to_x_mm),
            "to_y_mm": millimetres(lift.to_y_mm),
            "at_mm": millimetres(lift.at_mm),
        }
        for lift in lifts(w.trace, s_mm)
    ]


def _crossings(w: "Workings") -> list[dict[str, Any]]:
    return [
        {
            "t_ms": milliseconds(one.t_s) if w.quality.monotone else None,
            "x_mm": millimetres(one.x_mm),
            "y_mm": millimetres(one.y_mm),
            "towards": one.towards,
            "lifted": one.lifted,
        }
        for one in w.crossings
    ]


def events_of(w: "Workings") -> dict[str, list[dict[str, Any]]]:
    """Return pauses, departures, lifts and crossings.

    Parameters
    ----------
    w : Workings
        Of one trial.

    Returns
    -------
    dict
        Lists in order of time; empty where they cannot be known. Of two hands those of
        contact 0, then those of contact 1, each with its ``pointer``.
    """
    if w.trial.mode == "both":
        return _events_of_both(w)
    return {
        "pauses": _pauses(w),
        "departures": _departures(w),
        "lifts": _lifts(w),
        "crossings": _crossings(w),
    }


def _events_of_both(w: "Workings") -> dict[str, list[dict[str, Any]]]:
    merged: dict[str, list[dict[str, Any]]] = {name: [] for name in EVENTS}
    for contact in w.contacts:
        own = np.arange(len(w.trace))
        if w.trace.pointer is not None:
            own = np.flatnonzero(w.trace.pointer == contact.pointer)
        for name, found in contact.workings.events.items():
            for event in found:
                # Places in the contact's own samples become places in those of the trial.
                places = {key: int(own[event[key]]) for key in INDICES if key in event}
                merged[name].append(event | places | {"pointer": contact.pointer})
    return merged
