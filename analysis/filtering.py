"""Gaps, even sampling and the low-pass: the only place that filters.

Speed and everything made from it uses the pieces of `filtered_pieces`, filtered
stroke by stroke, never across a lift.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.signal import butter, sosfiltfilt

from analysis.conditioning import sample_steps_s, stroke_slices
from analysis.trace import FloatArray, Trace

GAP_S, FILLED_GAP_S, RESTING_GAP_MM = 0.050, 0.150, 0.5
"""Shortest gap, longest gap filled by a line [s]; a pen that moved less was resting. [mm]"""
REST_S, REST_MM = 0.050, 0.25
"""A stroke end is at rest if the pen moved less than this within that time. [s], [mm]"""
SPEED_CUTOFF_HZ, SPEED_ORDER = 10.0, 2
"""Low-pass of position for speed: cut-off [Hz] and order per pass."""


def corrected_cutoff_hz(cutoff_hz: float, rate_hz: float, order: int) -> float:
    """Design cut-off of one pass so that two passes have their -3 dB point at `cutoff_hz`.

    Parameters
    ----------
    cutoff_hz : float
        Wanted cut-off of the forward and backward filter together. [Hz]
    rate_hz : float
        Sampling rate. [Hz]
    order : int
        Order of the Butterworth filter of one pass.

    Returns
    -------
    float
        Cut-off to design one pass with. [Hz]

    References
    ----------
    Robertson & Dowling (2003), J. Electromyogr. Kinesiol. 13:569 (from memory).

    Examples
    --------
    >>> round(corrected_cutoff_hz(10, 120, 2), 3)
    12.313
    """
    correction = (np.sqrt(2.0) - 1.0) ** (1.0 / (2 * order))
    return float(rate_hz / np.pi * np.arctan(np.tan(np.pi * cutoff_hz / rate_hz) / correction))


def _padding(x: FloatArray, count: int, *, at_rest: bool) -> FloatArray:
    """Values to put before `x`: its first value if at rest, else its odd reflection."""
    if at_rest:
        return np.repeat(x[:1], count, axis=0)
    mirrored = 2.0 * x[0] - x[min(count, len(x) - 1) : 0 : -1]
    return np.concatenate([np.repeat(mirrored[:1], count - len(mirrored), axis=0), mirrored])


def low_passed(
    xy_mm: FloatArray,
    rate_hz: float,
    *,
    cutoff_hz: float = SPEED_CUTOFF_HZ,
    order: int = SPEED_ORDER,
) -> FloatArray:
    """Zero-phase Butterworth low-pass of evenly sampled positions.

    Parameters
    ----------
    xy_mm : ndarray, shape (n, k)
        One piece of one stroke. [mm]
    rate_hz : float
        Its sampling rate. [Hz]
    cutoff_hz : float
        -3 dB point of both passes together; 10 Hz because the pen-tip spectrum is
        spent by then (Teulings & Maarse 1984, from memory). [Hz]
    order : int
        Order per pass.

    Returns
    -------
    ndarray, shape (n, k)
        Filtered positions. [mm]

    Notes
    -----
    The ends are padded with 3/cutoff seconds: held where the piece starts or ends at
    rest, reflected about the end otherwise.
    """
    if len(xy_mm) < 2:
        return xy_mm
    sections = butter(
        order, corrected_cutoff_hz(cutoff_hz, rate_hz, order), fs=rate_hz, output="sos"
    )
    count = int(np.ceil(3.0 * rate_hz / cutoff_hz))
    look = min(round(REST_S * rate_hz), len(xy_mm) - 1)
    rests = [float(np.hypot(*(x[look] - x[0]).T[:2])) < REST_MM for x in (xy_mm, xy_mm[::-1])]
    padded = np.concatenate(
        [
            _padding(xy_mm, count, at_rest=rests[0]),
            xy_mm,
            _padding(xy_mm[::-1], count, at_rest=rests[1])[::-1],
        ]
    )
    smooth: FloatArray = sosfiltfilt(sections, padded, axis=0, padtype=None)
    return smooth[count:-count]


@dataclass(frozen=True, eq=False)
class Piece:
    """A stretch of one stroke without a gap, on an even grid, low-passed.

    Parameters
    ----------
    stroke : int
        Stroke it belongs to.
    t_s : ndarray, shape (n,)
        Times. [s]
    xy_mm : ndarray, shape (n, 2)
        Filtered positions. [mm]
    speed_mm_s : ndarray, shape (n,)
        Magnitude of the centred difference of the filtered positions. [mm/s]
    s_mm : ndarray, shape (n,), or None
        Progress along the guide. [mm]
    """

    stroke: int
    t_s: FloatArray
    xy_mm: FloatArray
    speed_mm_s: FloatArray
    s_mm: FloatArray | None = None


@dataclass(frozen=True, eq=False)
class Pieces:
    """All pieces of a trial, what was filled and what was lost.

    Parameters
    ----------
    pieces : tuple of Piece
        In order of time.
    filled_count : int
        Gaps bridged by a straight line.
    lost_s : float
        Pen-down time inside gaps too long to bridge. [s]
    """

    pieces: tuple[Piece, ...]
    filled_count: int
    lost_s: float


GapKind = Literal["rest", "fill", "split"]


def _gap_kind(step_s: float, moved_mm: float) -> GapKind:
    if moved_mm < RESTING_GAP_MM:
        return "rest"
    return "fill" if step_s <= FILLED_GAP_S else "split"


def _without_gaps(
    t_s: FloatArray, xy_mm: FloatArray, median_step_s: float
) -> tuple[list[tuple[FloatArray, FloatArray]], int, float]:
    """Split one stroke at long gaps; hold the position of a resting pen."""
    gaps = np.flatnonzero(np.diff(t_s) > max(3.0 * median_step_s, GAP_S))
    moved_mm = np.hypot(*(xy_mm[gaps + 1] - xy_mm[gaps]).T)
    kinds = [
        _gap_kind(float(t_s[at + 1] - t_s[at]), float(moved))
        for at, moved in zip(gaps, moved_mm, strict=True)
    ]
    rests = np.array(
        [at for at, kind in zip(gaps, kinds, strict=True) if kind == "rest"], dtype=int
    )
    splits = [at for at, kind in zip(gaps, kinds, strict=True) if kind == "split"]
    lost_s = float(sum(t_s[at + 1] - t_s[at] for at in splits))
    held_t_s = np.insert(t_s, rests + 1, t_s[rests + 1] - median_step_s)
    held_xy_mm = np.insert(xy_mm, rests + 1, xy_mm[rests], axis=0)
    cuts = np.array([at + 1 + np.count_nonzero(rests <= at) for at in splits], dtype=int)
    stretches = list(zip(np.split(held_t_s, cuts), np.split(held_xy_mm, cuts), strict=True))
    return stretches, kinds.count("fill"), lost_s


def _piece(stroke: int, t_s: FloatArray, xy_mm: FloatArray, rate_hz: float) -> Piece | None:
    steps = round(float(t_s[-1] - t_s[0]) * rate_hz)
    if steps < 1:
        return None
    even_t_s = np.linspace(t_s[0], t_s[-1], steps + 1)
    even_xy_mm = np.column_stack([np.interp(even_t_s, t_s, column) for column in xy_mm.T])
    step_s = float(t_s[-1] - t_s[0]) / steps
    smooth_mm = low_passed(even_xy_mm, 1.0 / step_s)
    velocity = np.gradient(smooth_mm, step_s, axis=0)
    return Piece(stroke, even_t_s, smooth_mm, np.hypot(*velocity.T))


def filtered_pieces(trace: Trace) -> Pieces:
    """Even sampling and low-pass, stroke by stroke, never across a lift.

    Parameters
    ----------
    trace : Trace
        Ordered samples with a monotone clock.

    Returns
    -------
    Pieces
        On a 120 Hz grid, 60 Hz if the device is slower than 90 Hz.

    Raises
    ------
    ValueError
        If the trace has no times.
    """
    steps_s = sample_steps_s(trace)
    if trace.t_s is None:
        raise ValueError("filtered_pieces needs times")
    if len(steps_s) == 0:
        return Pieces((), 0, 0.0)
    median_step_s = float(np.median(steps_s))
    rate_hz = 120.0 if 1.0 / median_step_s >= 90.0 else 60.0
    pieces: list[Piece] = []
    filled_count, lost_s = 0, 0.0
    for number, part in enumerate(stroke_slices(trace.stroke)):
        stretches, filled, lost = _without_gaps(trace.t_s[part], trace.xy_mm[part], median_step_s)
        made = [_piece(number, t_s, xy_mm, rate_hz) for t_s, xy_mm in stretches]
        pieces += [piece for piece in made if piece is not None]
        filled_count, lost_s = filled_count + filled, lost_s + lost
    return Pieces(tuple(pieces), filled_count, lost_s)
