"""Speed, pauses and lifts of one trial, computed once."""

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
from scipy.signal import find_peaks

from analysis.conditioning import stroke_slices
from analysis.curvature import bends
from analysis.filtering import JERK_PASS, PEAK_PASS, Piece, Pieces, filtered_pieces
from analysis.pauses import Lift, Pause, lifts, pause_at, pause_limit_mm_s, slow_runs, start_dwell_s
from analysis.trace import BoolArray, FloatArray, Trace

PEAK_SHARE, PEAK_MM_S, PEAK_SPACING_S = 0.05, 2.0, 0.1
"""A speed peak stands out by the larger of a share of P95 speed and mm/s; least spacing."""
PEAK_STROKE_S = 0.5
"""Strokes shorter than this have too few samples to count peaks. [s]"""


@dataclass(frozen=True, eq=False)
class Kinematics:
    """Movement in time.

    Parameters
    ----------
    trace : Trace
        Ordered samples with a monotone clock, at least one.
    s_mm : ndarray, shape (n,), or None
        Progress of the samples along the guide. [mm]
    """

    trace: Trace
    s_mm: FloatArray | None

    @cached_property
    def _made(self) -> Pieces:
        return filtered_pieces(self.trace)

    @cached_property
    def pieces(self) -> tuple[Piece, ...]:
        """Even, filtered stretches in order of time, with progress if there is a guide."""
        if self.s_mm is None or self.trace.t_s is None:
            return self._made.pieces
        t_s, s_mm = self.trace.t_s, self.s_mm
        slices = stroke_slices(self.trace.stroke)
        return tuple(
            replace(
                piece,
                s_mm=np.interp(piece.t_s, t_s[slices[piece.stroke]], s_mm[slices[piece.stroke]]),
            )
            for piece in self._made.pieces
        )

    @cached_property
    def jerk_pieces(self) -> tuple[Piece, ...]:
        """The same stretches with the stronger low-pass of jerk, without progress."""
        return filtered_pieces(self.trace, JERK_PASS).pieces

    @cached_property
    def bends(self) -> tuple[FloatArray, FloatArray]:
        """Speed [mm/s] and curvature [1/mm] where the line bends."""
        return bends(self.jerk_pieces)

    @property
    def filled_count(self) -> int:
        """Gaps bridged by a straight line."""
        return self._made.filled_count

    @property
    def lost_share(self) -> float:
        """Share of pen-down time inside gaps too long to bridge. [1]"""
        return self._made.lost_s / self.pen_down_s if self.pen_down_s > 0 else 0.0

    @cached_property
    def stroke_times_s(self) -> tuple[tuple[float, float], ...]:
        """First and last time of every stroke. [s]"""
        t_s = self.trace.t_s
        if t_s is None:
            return ()
        parts = stroke_slices(self.trace.stroke)
        return tuple((float(t_s[part.start]), float(t_s[part.stop - 1])) for part in parts)

    @property
    def duration_s(self) -> float:
        """From first contact to last lift; strokes of two hands may overlap. [s]"""
        return max(end for _, end in self.stroke_times_s) - self.stroke_times_s[0][0]

    @property
    def pen_down_s(self) -> float:
        """Sum of the strokes' times. [s]"""
        return sum(end - start for start, end in self.stroke_times_s)

    @cached_property
    def in_air_s(self) -> float:
        """Sum of the times between strokes. [s]"""
        times = self.stroke_times_s
        return sum(b[0] - a[1] for a, b in pairwise(times))

    @cached_property
    def path_length_mm(self) -> float:
        """Length of the filtered pen-down trace. [mm]"""
        return sum(piece.length_mm for piece in self.pieces)

    @cached_property
    def start_dwell_s(self) -> float | None:
        """From first contact until 2 mm away from it; None if never. [s]"""
        return start_dwell_s(self.trace)

    @cached_property
    def pause_limit_mm_s(self) -> float:
        """Speed below which this child is still. [mm/s]"""
        return pause_limit_mm_s(self.pieces)

    @cached_property
    def _slow(self) -> list[tuple[Piece, float, float]]:
        return [
            (piece, start, end)
            for piece in self.pieces
            for start, end in slow_runs(piece, self.pause_limit_mm_s)
        ]

    @property
    def _begun_s(self) -> float:
        first_s = self.stroke_times_s[0][0]
        return first_s + self.start_dwell_s if self.start_dwell_s is not None else np.inf

    @property
    def _still(self) -> list[tuple[Piece, float, float]]:
        """Pauses, and slow runs inside the start dwell up to its end."""
        return [
            (piece, start, min(end, self._begun_s) if start < self._begun_s else end)
            for piece, start, end in self._slow
        ]

    @cached_property
    def pauses(self) -> tuple[Pause, ...]:
        """Slow runs of at least 0.2 s that begin after the movement has begun."""
        return tuple(
            pause_at(piece, start, end)
            for piece, start, end in self._slow
            if start >= self._begun_s
        )

    @cached_property
    def pause_s(self) -> float:
        """Time in pauses. [s]"""
        return sum(pause.duration_s for pause in self.pauses)

    @cached_property
    def moving_s(self) -> float:
        """Pen-down time less pauses and less slow runs inside the start dwell. [s]"""
        return max(0.0, self.pen_down_s - sum(end - start for _, start, end in self._still))

    @cached_property
    def moving_speed_mm_s(self) -> FloatArray:
        """Speeds on the even grid outside pauses and slow runs of the start dwell. [mm/s]"""
        kept = []
        for piece in self.pieces:
            moving: BoolArray = np.ones(len(piece.t_s), dtype=np.bool_)
            for other, start, end in self._still:
                if other is piece:
                    moving &= (piece.t_s < start) | (piece.t_s > end)
            kept.append(piece.speed_mm_s[moving])
        return np.concatenate(kept) if kept else np.empty(0)

    @cached_property
    def speed_mm_s(self) -> FloatArray:
        """Speeds on the even grid of all pieces. [mm/s]"""
        return np.concatenate([p.speed_mm_s for p in self.pieces]) if self.pieces else np.empty(0)

    @cached_property
    def lifts(self) -> tuple[Lift, ...]:
        """Gaps between strokes."""
        return lifts(self.trace, self.s_mm)

    @cached_property
    def speed_peak_count(self) -> int | None:
        """Peaks of speed in pieces of at least 0.5 s; None if there is no such piece."""
        pieces = filtered_pieces(self.trace, PEAK_PASS).pieces
        long_enough = [p for p in pieces if p.lasts_s >= PEAK_STROKE_S]
        if not long_enough:
            return None
        least = max(PEAK_MM_S, PEAK_SHARE * float(np.quantile(self.speed_mm_s, 0.95)))
        count = 0
        for piece in long_enough:
            spacing = max(1, round(PEAK_SPACING_S / float(piece.t_s[1] - piece.t_s[0])))
            padded = np.concatenate([[0.0], piece.speed_mm_s, [0.0]])
            count += len(find_peaks(padded, prominence=least, distance=spacing)[0])
        return count
