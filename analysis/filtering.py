"""The low-pass: the only place that filters.

Speed and everything made from it uses the pieces of `filtered_pieces`, filtered
stroke by stroke, never across a lift.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.signal import butter, sosfiltfilt

from analysis.stretches import Stretch, stretches
from analysis.trace import FloatArray, Trace

REST_S, REST_MM = 0.050, 0.25
"""A stroke end is at rest if the pen moved less than this within that time. [s], [mm]"""


class LowPass(NamedTuple):
    """A zero-phase Butterworth low-pass: cut-off of both passes [Hz] and order of one."""

    cutoff_hz: float
    order: int


SPEED_PASS = LowPass(10.0, 2)
"""Position for speed: the pen-tip spectrum is spent by 10 Hz (Teulings & Maarse 1984, from
memory)."""
JERK_PASS = LowPass(5.0, 4)
"""Position for jerk: three differences raise the noise with the cube of frequency, so the
low-pass of speed would leave little else than noise."""
PEAK_PASS = LowPass(6.0, 4)
"""Position for peaks of speed: a hand begins anew up to 4 or 5 times a second. With the low-pass
of speed, noise of 0.1 mm adds three peaks to each true one at 240 Hz; with this, one to five."""
PRESSURE_PASS = LowPass(5.0, 2)
"""Pressure for its peaks: a hand presses anew a few times a second at most."""


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
    values: FloatArray, rate_hz: float, how: LowPass = SPEED_PASS, *, rests: bool = True
) -> FloatArray:
    """Zero-phase Butterworth low-pass of evenly sampled columns.

    Parameters
    ----------
    values : ndarray, shape (n, k)
        One piece of one stroke; positions in the first two columns if `rests`. [mm]
    rate_hz : float
        Its sampling rate. [Hz]
    how : LowPass
        -3 dB point of both passes together, and the order of one.
    rests : bool
        Whether to look for a pen at rest at the ends; False where the columns are no places.

    Returns
    -------
    ndarray, shape (n, k)
        Filtered values, in the unit of `values`.

    Notes
    -----
    The ends are padded with 3/cutoff seconds: held where the piece starts or ends at
    rest, reflected about the end otherwise.
    """
    if len(values) < 2:
        return values
    cutoff_hz = corrected_cutoff_hz(how.cutoff_hz, rate_hz, how.order)
    sections = butter(how.order, cutoff_hz, fs=rate_hz, output="sos")
    count = int(np.ceil(3.0 * rate_hz / how.cutoff_hz))
    look = min(round(REST_S * rate_hz), len(values) - 1)
    still = [
        rests and float(np.hypot(*(x[look] - x[0]).T[:2])) < REST_MM for x in (values, values[::-1])
    ]
    padded = np.concatenate(
        [
            _padding(values, count, at_rest=still[0]),
            values,
            _padding(values[::-1], count, at_rest=still[1])[::-1],
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

    @property
    def lasts_s(self) -> float:
        """From its first to its last time. [s]"""
        return float(self.t_s[-1] - self.t_s[0])

    @property
    def rate_hz(self) -> float:
        """Rate of its grid. [Hz]"""
        return (len(self.t_s) - 1) / self.lasts_s

    @property
    def length_mm(self) -> float:
        """Length of its filtered line. [mm]"""
        return float(np.hypot(*np.diff(self.xy_mm, axis=0).T).sum())


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


def _piece(even: Stretch, how: LowPass) -> Piece:
    smooth_mm = low_passed(even.columns, even.rate_hz, how)
    velocity = np.gradient(smooth_mm, 1.0 / even.rate_hz, axis=0)
    return Piece(even.stroke, even.t_s, smooth_mm, np.hypot(*velocity.T))


def filtered_pieces(trace: Trace, how: LowPass = SPEED_PASS) -> Pieces:
    """Even sampling and low-pass, stroke by stroke, never across a lift.

    Parameters
    ----------
    trace : Trace
        Ordered samples with a monotone clock.
    how : LowPass
        Which low-pass.

    Returns
    -------
    Pieces
        On the even grid of `analysis.stretches.stretches`.

    Raises
    ------
    ValueError
        If the trace has no times.
    """
    made = stretches(trace)
    pieces = tuple(_piece(even, how) for even in made.even())
    return Pieces(pieces, made.filled_count, made.lost_s)
