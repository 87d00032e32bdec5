"""How speed falls where the line bends: the power law of speed and curvature.

Source: Lacquaniti, Terzuolo & Viviani (1983), Acta Psychol. 54:115 (from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.filtering import Piece
from analysis.guide import Guide, Part
from analysis.trace import FloatArray
from analysis.value import Refused

LEAST_CURVATURE_PER_MM = 0.005
"""Less bent than a circle of 200 mm counts as straight. [1/mm]"""
LEAST_SPEED_SHARE = 0.05
"""Slower samples, as a share of the stroke's peak speed, are rests."""
LEAST_SAMPLES, LEAST_LOG_RANGE = 100, 1.0
"""Fewer samples, or curvatures nearer to each other than a factor of e, carry no slope."""
EDGE_S = 0.25
"""So near to a stroke's ends the low-pass bends the line: it had to guess what follows. [s]"""
STROKE_S = 0.5
"""Shorter strokes hold too few samples. [s]"""
STRAIGHT_MM = 0.5
"""A part of a guide is straight if it stays this near to one line. [mm]"""
LEAST_SPEED_RANGE = 1e-4
"""Log of speed that varies by less is constant but for what the low-pass does at the ends."""


@dataclass(frozen=True)
class PowerLaw:
    """Fit of ``ln v = ln gain + exponent * ln kappa``.

    Parameters
    ----------
    exponent : float
        Slope. [1]
    gain_mm_s : float
        Speed that the fit gives at a curvature of 1/mm. [mm/s]
    r_squared : float or None
        Share of the variance of ln v that the fit explains; None if v is constant. [1]
    """

    exponent: float
    gain_mm_s: float
    r_squared: float | None


def is_bent(guide: Guide) -> bool:
    """Whether any part of a guide leaves a straight line by more than 0.5 mm."""
    return any(_is_bent(part) for part in guide.parts)


def _is_bent(part: Part) -> bool:
    from_first_mm = part.points_mm - part.points_mm[0]
    away_mm = np.hypot(*from_first_mm.T)
    along = from_first_mm[int(np.argmax(away_mm))] / away_mm.max()
    beside_mm = np.abs(from_first_mm[:, 0] * along[1] - from_first_mm[:, 1] * along[0])
    return bool(beside_mm.max() > STRAIGHT_MM)


def _samples(piece: Piece) -> tuple[FloatArray, FloatArray]:
    """Speeds [mm/s] and curvatures [1/mm] of one stroke that count."""
    step_s = 1.0 / piece.rate_hz
    velocity = np.gradient(piece.xy_mm, step_s, axis=0)
    change = np.gradient(velocity, step_s, axis=0)
    across = np.abs(velocity[:, 0] * change[:, 1] - velocity[:, 1] * change[:, 0])
    speed_mm_s = piece.speed_mm_s
    with np.errstate(divide="ignore", invalid="ignore", over="ignore", under="ignore"):
        per_mm = across / speed_mm_s**3
    kept = speed_mm_s > LEAST_SPEED_SHARE * speed_mm_s.max()
    kept &= (piece.t_s >= piece.t_s[0] + EDGE_S) & (piece.t_s <= piece.t_s[-1] - EDGE_S)
    kept &= (per_mm > LEAST_CURVATURE_PER_MM) & np.isfinite(per_mm)
    return speed_mm_s[kept], per_mm[kept]


def bends(pieces: Sequence[Piece]) -> tuple[FloatArray, FloatArray]:
    """Speeds and curvatures of a trial where the line bends.

    Parameters
    ----------
    pieces : sequence of Piece
        All of a trial; those under 0.5 s are left out.

    Returns
    -------
    (ndarray, ndarray), shape (n,)
        Speed [mm/s] and curvature [1/mm] of all samples of the even grid faster than 5 % of
        their stroke's peak, more bent than 0.005/mm and 0.25 s away from the stroke's ends.
    """
    found = [_samples(piece) for piece in pieces if piece.lasts_s >= STROKE_S]
    if not found:
        return np.empty(0), np.empty(0)
    speeds_mm_s, curvatures_per_mm = zip(*found, strict=True)
    return np.concatenate(speeds_mm_s), np.concatenate(curvatures_per_mm)


def power_law(speed_mm_s: FloatArray, per_mm: FloatArray) -> PowerLaw:
    """Least-squares line of log speed on log curvature.

    Parameters
    ----------
    speed_mm_s, per_mm : ndarray, shape (n,)
        See `bends`. [mm/s], [1/mm]

    Returns
    -------
    PowerLaw
        The fit.

    Raises
    ------
    Refused
        ``too_few_samples`` for less than 100, ``guide_lacks_feature`` if the largest
        curvature is less than e times the smallest.
    """
    if len(per_mm) < LEAST_SAMPLES:
        raise Refused("too_few_samples")
    y, x = np.log(speed_mm_s), np.log(per_mm)
    if np.ptp(x) < LEAST_LOG_RANGE:
        raise Refused("guide_lacks_feature")
    x_mean, y_mean = float(x.mean()), float(y.mean())
    exponent = float(((x - x_mean) * (y - y_mean)).sum() / ((x - x_mean) ** 2).sum())
    left = y - y_mean - exponent * (x - x_mean)
    varies = np.ptp(y) > LEAST_SPEED_RANGE
    r_squared = 1.0 - float((left**2).sum() / ((y - y_mean) ** 2).sum()) if varies else None
    return PowerLaw(exponent, float(np.exp(y_mean - exponent * x_mean)), r_squared)
