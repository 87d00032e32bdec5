"""Stretches in which the pen is down but still, and gaps between strokes."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from analysis.conditioning import stroke_slices
from analysis.filtering import Piece
from analysis.trace import FloatArray, Trace

PAUSE_LIMIT_MM_S = 5.0
"""Below this speed the pen is still. [mm/s]"""
PAUSE_S, PAUSE_MERGE_S, LONG_PAUSE_S = 0.2, 0.05, 2.0
"""Shortest pause; slow runs nearer than this are one; the limit of `pause_count_2s`. [s]"""
SLOW_CHILD_MM_S, MOVING_SHARE = 10.0, 0.1
"""Below this median moving speed the pause limit is half of it; moving is at least this
share of the 95th percentile."""
LEAST_LIMIT_MM_S = 1.0
"""The limit of a slow child is never lower, or a pen that never moved would be moving. [mm/s]"""
AWAY_MM = 2.0
"""The movement has begun when the pen is this far from its first contact. [mm]"""


@dataclass(frozen=True)
class Pause:
    """A still stretch: its times [s], middle position [mm] and progress [mm]."""

    start_s: float
    end_s: float
    x_mm: float
    y_mm: float
    at_mm: float | None

    @property
    def duration_s(self) -> float:
        """How long it lasted. [s]"""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Lift:
    """A gap between two strokes: times [s], positions [mm] and progress [mm]."""

    start_s: float | None
    end_s: float | None
    from_x_mm: float
    from_y_mm: float
    to_x_mm: float
    to_y_mm: float
    at_mm: float | None


def pause_limit_mm_s(pieces: tuple[Piece, ...]) -> float:
    """Speed below which this child is still.

    Parameters
    ----------
    pieces : tuple of Piece
        All of the trial, at least one.

    Returns
    -------
    float
        5 mm/s, or half the median moving speed if that is below 10 mm/s. [mm/s]
    """
    speed_mm_s = np.concatenate([piece.speed_mm_s for piece in pieces])
    moving = speed_mm_s[speed_mm_s >= MOVING_SHARE * np.quantile(speed_mm_s, 0.95)]
    median_mm_s = float(np.median(moving))
    if median_mm_s >= SLOW_CHILD_MM_S:
        return PAUSE_LIMIT_MM_S
    return max(median_mm_s / 2, LEAST_LIMIT_MM_S)


def slow_runs(piece: Piece, limit_mm_s: float) -> list[tuple[float, float]]:
    """Return (start, end) of the runs below a speed, ends by linear interpolation. [s]

    Parameters
    ----------
    piece : Piece
        An even stretch.
    limit_mm_s : float
        The speed. [mm/s]

    Returns
    -------
    list of (float, float)
        Runs less than 50 ms apart are merged; those shorter than 0.2 s are left out.
    """
    over = piece.speed_mm_s - limit_mm_s
    below = over < 0
    change = np.flatnonzero(np.diff(below))
    share = over[change] / (over[change] - over[change + 1])
    times = piece.t_s[change] + share * (piece.t_s[change + 1] - piece.t_s[change])
    edges = times.tolist()
    if below[0]:
        edges.insert(0, float(piece.t_s[0]))
    if below[-1]:
        edges.append(float(piece.t_s[-1]))
    runs: list[tuple[float, float]] = []
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        if runs and start - runs[-1][1] < PAUSE_MERGE_S:
            runs[-1] = (runs[-1][0], end)
        else:
            runs.append((start, end))
    return [(start, end) for start, end in runs if end - start >= PAUSE_S]


def start_dwell_s(trace: Trace) -> float | None:
    """Time from first contact until the pen is 2 mm away from it.

    Parameters
    ----------
    trace : Trace
        Ordered samples with times, at least one.

    Returns
    -------
    float or None
        Linear between samples; None if the pen never went so far. [s]
    """
    if trace.t_s is None:
        return None
    away_mm = np.hypot(*(trace.xy_mm - trace.xy_mm[0]).T)
    beyond = np.flatnonzero(away_mm >= AWAY_MM)
    if len(beyond) == 0:
        return None
    at = int(beyond[0])
    if trace.stroke[at] != trace.stroke[at - 1]:
        return float(trace.t_s[at] - trace.t_s[0])
    reached_s = np.interp(AWAY_MM, away_mm[at - 1 : at + 1], trace.t_s[at - 1 : at + 1])
    return float(reached_s - trace.t_s[0])


def pause_at(piece: Piece, start_s: float, end_s: float) -> Pause:
    """Return the pause of a run: its place is that of its middle moment."""
    middle_s = (start_s + end_s) / 2

    def at(column: FloatArray) -> float:
        return float(np.interp(middle_s, piece.t_s, column))

    place_mm = None if piece.s_mm is None else at(piece.s_mm)
    return Pause(start_s, end_s, at(piece.xy_mm[:, 0]), at(piece.xy_mm[:, 1]), place_mm)


def lifts(trace: Trace, s_mm: FloatArray | None) -> tuple[Lift, ...]:
    """Return the gaps between neighbouring strokes, in order."""
    parts = stroke_slices(trace.stroke)
    found: list[Lift] = []
    for before, after in pairwise(parts):
        last, first = before.stop - 1, after.start
        x_mm, y_mm = trace.xy_mm[last].tolist()
        to_x_mm, to_y_mm = trace.xy_mm[first].tolist()
        found.append(
            Lift(
                start_s=None if trace.t_s is None else float(trace.t_s[last]),
                end_s=None if trace.t_s is None else float(trace.t_s[first]),
                from_x_mm=x_mm,
                from_y_mm=y_mm,
                to_x_mm=to_x_mm,
                to_y_mm=to_y_mm,
                at_mm=None if s_mm is None else float(s_mm[last]),
            )
        )
    return tuple(found)
