"""Smoothness of speed: spectral arc length and log dimensionless jerk.

Both were made for one movement from rest to rest. A trial of several strokes gets the mean over
its strokes, weighted by their lengths.
"""

from collections.abc import Callable, Sequence

import numpy as np

from analysis.filtering import Piece
from analysis.pauses import LEAST_LIMIT_MM_S, slow_runs
from analysis.trace import FloatArray
from analysis.value import Refused

SPARC_PAD, SPARC_LIMIT_HZ, SPARC_FLOOR = 4, 10.0, 0.05
"""Zeros appended, as doublings; highest frequency [Hz]; lowest share of the largest magnitude.
As published by the authors."""
ONSET_SHARE = 0.05
"""A movement lasts from the first to the last time at this share of its peak speed."""
STROKE_S, STROKES_SHARE = 0.5, 0.6
"""Shorter strokes hold too few samples [s]; the others must hold this share of the path."""
KEPT_DWELL_S = 0.1
"""The least that is left of a dwell at either end, for the low-pass smears an onset. [s]"""
LEAST_SAMPLES = 4
"""Two second differences to continue to the ends need four samples."""
LEAST_RANGE = 1e-3
"""Speed that varies by less than this share of its peak is constant: at its ends the low-pass
alone leaves a few ten-thousandths."""


def sparc(speed: FloatArray, rate_hz: float) -> float:
    """Spectral arc length of one movement.

    Parameters
    ----------
    speed : ndarray, shape (n,)
        Speed at even times, at least four, not negative and not 0 throughout, in any unit.
    rate_hz : float
        Sampling rate. [Hz]

    Returns
    -------
    float
        Length of the normalised spectrum's graph, negated: -1.4 for one smooth movement,
        lower for every interruption. [1]

    References
    ----------
    Balasubramanian, Melendez-Calderon, Roby-Brami & Burdet (2015), J. NeuroEng. Rehabil. 12:112.

    Examples
    --------
    >>> round(sparc(np.exp(-5 * np.arange(-1, 1, 0.01) ** 2), 100), 5)
    -1.41403
    """
    count = 2 ** (int(np.ceil(np.log2(len(speed)))) + SPARC_PAD)
    used = 1 + int(np.floor(SPARC_LIMIT_HZ * count / rate_hz))
    magnitude = np.abs(np.fft.rfft(speed / speed.max(), count))[:used]
    magnitude /= magnitude.max()
    kept = magnitude[: int(np.flatnonzero(magnitude >= SPARC_FLOOR)[-1]) + 1]
    return -float(np.hypot(1.0 / (len(kept) - 1), np.diff(kept)).sum())


def log_dimensionless_jerk(speed: FloatArray) -> float:
    """Log of the squared jerk of one movement, made free of its duration and size, negated.

    Parameters
    ----------
    speed : ndarray, shape (n,)
        Speed at even times, at least four, not constant, in any unit.

    Returns
    -------
    float
        ``-ln(T^3 / v_peak^2 * integral of (d2v/dt2)^2 dt)`` over the whole array, T from
        first to last sample, at any rate; -ln 204.8 = -5.322 for a minimum-jerk reach. [1]

    References
    ----------
    Hogan & Sternad (2009), J. Mot. Behav. 41:529 (from memory); Balasubramanian et al. (2015).

    Examples
    --------
    >>> u = np.linspace(0, 1, 241)
    >>> round(log_dimensionless_jerk(u**2 * (1 - u) ** 2), 3)
    -5.322
    """
    # With time in steps and speed in peaks the rates and units cancel.
    bend = np.diff(speed / speed.max(), 2)
    bend = np.concatenate([[2 * bend[0] - bend[1]], bend, [2 * bend[-1] - bend[-2]]])
    return -float(np.log((len(speed) - 1.0) ** 3 * np.trapezoid(bend**2)))


def moving_speed(piece: Piece) -> FloatArray:
    """Return the speeds from onset to offset: first to last at 5 % of the peak. [mm/s]"""
    over = np.flatnonzero(piece.speed_mm_s >= ONSET_SHARE * piece.speed_mm_s.max())
    return piece.speed_mm_s[over[0] : over[-1] + 1]


def _onset_s(piece: Piece, limit_mm_s: float, crossing_s: float) -> float:
    """How long a speed that grows with the square of time took to reach the limit. [s]"""
    change_mm_s2 = np.abs(np.gradient(piece.speed_mm_s, 1.0 / piece.rate_hz))
    at_mm_s2 = float(np.interp(crossing_s, piece.t_s, change_mm_s2))
    longest_s = piece.lasts_s
    grew_s = 2.0 * limit_mm_s / at_mm_s2 if at_mm_s2 * longest_s > 2.0 * limit_mm_s else longest_s
    return max(KEPT_DWELL_S, grew_s)


def undelayed_speed(piece: Piece, limit_mm_s: float) -> FloatArray:
    """Return the speeds without a dwell at either end.

    Parameters
    ----------
    piece : Piece
        An even stretch.
    limit_mm_s : float
        Speed below which the pen is still. [mm/s]

    Returns
    -------
    ndarray, shape (n,)
        A slow run of at least 0.2 s at an end is cut to the 0.1 s next to the movement, or to
        2 * limit / (change of speed at the limit) if that is longer: a slow reach has a slow
        onset that is no dwell. Nothing is left of a piece that is slow throughout. [mm/s]
    """
    first_s, last_s = float(piece.t_s[0]), float(piece.t_s[-1])
    begin_s, end_s = first_s, last_s
    for start_s, stop_s in slow_runs(piece, limit_mm_s):
        if start_s == first_s and stop_s == last_s:
            return piece.speed_mm_s[:0]
        if start_s == first_s:
            begin_s = stop_s - _onset_s(piece, limit_mm_s, stop_s)
        if stop_s == last_s:
            end_s = start_s + _onset_s(piece, limit_mm_s, start_s)
    return piece.speed_mm_s[(piece.t_s >= begin_s) & (piece.t_s <= end_s)]


def sparc_of_stroke(piece: Piece) -> float | None:
    """Spectral arc length of one stroke; None if its movement has too few samples. [1]"""
    speed_mm_s = moving_speed(piece)
    return sparc(speed_mm_s, piece.rate_hz) if len(speed_mm_s) >= LEAST_SAMPLES else None


def jerk_of_stroke(piece: Piece, limit_mm_s: float) -> float | None:
    """Log dimensionless jerk of one stroke; None if it is too short or of constant speed. [1]"""
    speed_mm_s = undelayed_speed(piece, limit_mm_s)
    if len(speed_mm_s) < LEAST_SAMPLES or np.ptp(speed_mm_s) < LEAST_RANGE * speed_mm_s.max():
        return None
    return log_dimensionless_jerk(speed_mm_s)


def held_share(pieces: Sequence[Piece]) -> float:
    """Share of the path that lies in strokes of at least 0.5 s; 1 without a path. [1]"""
    all_mm = sum(piece.length_mm for piece in pieces)
    long_mm = sum(piece.length_mm for piece in pieces if piece.lasts_s >= STROKE_S)
    return long_mm / all_mm if all_mm > 0 else 1.0


def has_moved(pieces: Sequence[Piece]) -> bool:
    """Whether a stroke of at least 0.5 s reached 1 mm/s; true without such strokes."""
    peaks_mm_s = [piece.speed_mm_s.max() for piece in pieces if piece.lasts_s >= STROKE_S]
    return not peaks_mm_s or max(peaks_mm_s) >= LEAST_LIMIT_MM_S


def mean_over_strokes(pieces: Sequence[Piece], of: Callable[[Piece], float | None]) -> float:
    """Mean over the strokes of at least 0.5 s, weighted by their lengths.

    Parameters
    ----------
    pieces : sequence of Piece
        All of a trial.
    of : callable
        Number of one stroke, or None if it has none.

    Returns
    -------
    float
        In the unit of `of`.

    Raises
    ------
    Refused
        ``too_few_samples`` without such a stroke, ``gap_too_long`` if they hold less than
        60 % of the path, ``too_little_traced`` if none moved, ``zero_variance`` if no stroke
        that moved has a number.
    """
    long = [piece for piece in pieces if piece.lasts_s >= STROKE_S]
    if not long:
        raise Refused("too_few_samples")
    if held_share(pieces) < STROKES_SHARE:
        raise Refused("gap_too_long")
    moved = [piece for piece in long if piece.speed_mm_s.max() >= LEAST_LIMIT_MM_S]
    if not moved:
        raise Refused("too_little_traced")
    found = [(of(piece), piece.length_mm) for piece in moved]
    known = [(number, length_mm) for number, length_mm in found if number is not None]
    if not known:
        raise Refused("zero_variance")
    numbers, lengths_mm = zip(*known, strict=True)
    return float(np.average(numbers, weights=lengths_mm))
