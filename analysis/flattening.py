"""From a curve to the vertices of a guide: flat enough, in whole hundredths of a mm."""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from analysis.errors import BadGuide
from analysis.trace import FloatArray

Curve = Callable[[FloatArray], FloatArray]

FLATNESS_MM = 0.02
TABLE_POINTS = 8193
# Snapping moves a vertex by up to 0.0071 mm, so a chord may leave its arc by no more than this.
_CHORD_SAGITTA_MM = 0.011


def check_positive(**sizes: float) -> None:
    """Raise `BadGuide` with the name of the first size that is not above 0."""
    for name, size in sizes.items():
        if not (np.isfinite(size) and size > 0):
            raise BadGuide(f"{name} must be above 0, got {size}")


def check_count(name: str, count: int, least: int) -> None:
    """Raise `BadGuide` unless `count` is a whole number of at least `least`."""
    if count != int(count) or count < least:
        raise BadGuide(f"{name} must be a whole number of at least {least}, got {count}")


def flattened(curve: Curve, first: float, last: float, *, multiple: int = 1) -> FloatArray:
    """Vertices on a smooth curve, close together where it bends.

    Parameters
    ----------
    curve : callable
        Takes values of its parameter, shape (n,), gives points, shape (n, 2). [mm]
    first, last : float
        Ends of the parameter's range. [1]
    multiple : int
        The number of chords is a multiple of this, so that the tops of a curve of equal
        halves or quarters are vertices. [1]

    Returns
    -------
    ndarray, shape (m, 2)
        Points of the curve, both ends included. [mm]

    Notes
    -----
    A chord of length c on radius r leaves the arc by c**2 / (8 r). With turning
    d(theta) over ds the chords needed are the integral of
    sqrt(d(theta)/ds / (8 sagitta)) ds; they are shared out evenly over that integral.
    """
    u = np.linspace(first, last, TABLE_POINTS)
    step_mm = np.diff(curve(u), axis=0)
    heading = np.unwrap(np.arctan2(step_mm[:, 1], step_mm[:, 0]))
    turn = np.abs(np.gradient(heading))
    length_mm = np.hypot(*step_mm.T)
    # The small second term keeps the sum rising on straight stretches.
    chords = np.sqrt(turn * length_mm / (8.0 * _CHORD_SAGITTA_MM)) + 1e-6 * length_mm
    so_far = np.concatenate([[0.0], np.cumsum(chords)])
    count = max(int(np.ceil(so_far[-1] / multiple)), 1) * multiple
    return curve(np.interp(np.linspace(0.0, so_far[-1], count + 1), so_far, u))


def settled(points_mm: ArrayLike, *, origin_mm: ArrayLike | None = None) -> FloatArray:
    """Points moved so that their bounding box starts at (0, 0), in whole hundredths.

    Parameters
    ----------
    points_mm : array_like, shape (n, 2)
        Vertices. [mm]
    origin_mm : array_like, shape (2,), or None
        What is taken away instead of the box's corner, for parts that belong together. [mm]

    Returns
    -------
    ndarray, shape (m, 2)
        Vertices without repeated neighbours. [mm]

    Examples
    --------
    >>> settled([[5, 5], [5.001, 5], [7.256, 4]])
    array([[0.  , 1.  ],
           [2.26, 0.  ]])
    """
    points = np.asarray(points_mm, dtype=np.float64)
    corner = points.min(axis=0) if origin_mm is None else np.asarray(origin_mm, dtype=np.float64)
    hundredths = np.floor(np.round(100.0 * (points - corner), 6) + 0.5)
    moved = np.any(np.diff(hundredths, axis=0) != 0, axis=1)
    kept: FloatArray = hundredths[np.concatenate([[True], moved])] / 100.0
    return kept
