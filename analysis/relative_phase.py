"""Phase of one hand against the other on guides that swing to and fro.

References
----------
Kelso 1984, Am. J. Physiol. 246:R1000; Fisher 1993, Statistical Analysis of Circular Data
(both from memory).
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.signal import find_peaks, hilbert

from analysis.both_hands import Together
from analysis.guide import Guide
from analysis.trace import BoolArray, FloatArray, IntArray
from analysis.value import Refused
from analysis.workings import Workings

STEP_MM, LEAST_PLACES, MOST_PLACES = 0.5, 200, 20_000
"""Spacing at which a guide's swing is looked at, and the least and most places."""
LEAST_SWING_MM = 0.5
"""A guide whose swing has a smaller standard deviation is straight. [mm]"""
PROMINENCE = 0.5
"""An extreme of the swing stands out by this many standard deviations. [1]"""
SIDEWAYS_MARGIN = 1.01
"""The swing is taken up and down the page unless that across it is larger by this factor:
two mirrored guides must not be looked at along different axes."""
LEAST_CYCLES = 3.0
"""Fewer cycles have no phase to speak of. [1]"""
CYCLE_TOLERANCE = 0.05
"""Cycles of a guide are counted from sampled extremes. [1]"""
END_TOLERANCE = 0.5
"""The phase of a record is uncertain by up to a quarter cycle at each end. [1]"""


@dataclass(frozen=True, eq=False)
class Swing:
    """How a guide swings about its own middle line.

    Parameters
    ----------
    s_mm, swing_mm : ndarray, shape (n,)
        Places along the guide, and the swing there. [mm]
    cycles : float
        From first to last place; 1 or more for a closed guide. [1]
    """

    s_mm: FloatArray
    swing_mm: FloatArray
    cycles: float

    def at(self, guide: Guide, s_mm: FloatArray) -> FloatArray:
        """Return the swing at progress that may be laps away. [mm]"""
        return np.interp(guide.wrapped(s_mm), self.s_mm, self.swing_mm)


def _extremes(swing_mm: FloatArray) -> IntArray:
    least = PROMINENCE * float(swing_mm.std())
    tops, bottoms = (find_peaks(sign * swing_mm, prominence=least)[0] for sign in (1, -1))
    return np.sort(np.concatenate([tops, bottoms])).astype(np.int64)


def swing_of(guide: Guide) -> Swing | None:
    """Return how a guide of one part swings; None if it does not.

    Parameters
    ----------
    guide : Guide
        One part.

    Returns
    -------
    Swing or None
        Of an open guide: its distance from the line through the middles between neighbouring
        extremes, along the page axis on which it swings most. Of a closed one: its position
        on that axis less the mean.
    """
    count = int(np.clip(guide.length_mm / STEP_MM, LEAST_PLACES, MOST_PLACES))
    s_mm = np.linspace(0.0, guide.length_mm, count)
    places_mm = guide.point_at(s_mm)
    share = (s_mm / guide.length_mm)[:, None]
    swings_mm = places_mm - places_mm[0] - share * (places_mm[-1] - places_mm[0])
    swings_mm = swings_mm - swings_mm.mean(axis=0)
    across, down = swings_mm.std(axis=0).tolist()
    swing_mm = swings_mm[:, 0 if across > SIDEWAYS_MARGIN * down else 1]
    if swing_mm.std() < LEAST_SWING_MM:
        return None
    if guide.closed:
        return Swing(s_mm, swing_mm, 1.0)
    found = _extremes(swing_mm)
    if len(found) < 3:
        return None
    middle_s_mm = (s_mm[found[:-1]] + s_mm[found[1:]]) / 2
    middle_mm = (swing_mm[found[:-1]] + swing_mm[found[1:]]) / 2
    slope, offset_mm = np.polyfit(middle_s_mm, middle_mm, 1)
    cycles = guide.length_mm / (2.0 * float(np.diff(s_mm[found]).mean()))
    return Swing(s_mm, swing_mm - slope * s_mm - offset_mm, cycles)


def is_cyclic(guide: Guide) -> bool:
    """Whether every part is closed or swings to and fro three times or more."""
    for part in guide.parts:
        found = swing_of(Guide((part,)))
        if found is None or (not part.closed and found.cycles < LEAST_CYCLES - CYCLE_TOLERANCE):
            return False
    return True


class Phase(NamedTuple):
    """Mean and standard deviation of a relative phase. [deg]"""

    mean_deg: float
    sd_deg: float


def _longest_run(known: BoolArray) -> slice:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], known.astype(np.int64), [0]])))
    starts, ends = edges[::2], edges[1::2]
    if len(starts) == 0:
        return slice(0, 0)
    at = int((ends - starts).argmax())
    return slice(int(starts[at]), int(ends[at]))


def _phase_rad(signal: FloatArray) -> FloatArray:
    return np.asarray(np.unwrap(np.angle(hilbert(signal - signal.mean()))))


def phase_between(one: FloatArray, other: FloatArray) -> Phase:
    """Relative phase of two swings, by the Hilbert transform.

    Parameters
    ----------
    one, other : ndarray, shape (n,)
        On one even grid of time. [any unit]

    Returns
    -------
    Phase
        Circular mean and SD of the phase of `one` less that of `other`, over the whole cycles
        of `one`: positive if `other` is behind. [deg]

    Raises
    ------
    Refused
        ``too_little_traced`` if either has less than three cycles (less half a one, for the
        uncertain ends), ``not_alike`` if all differences cancel out.

    Examples
    --------
    >>> t_s = np.arange(600) / 120
    >>> found = phase_between(np.sin(2 * np.pi * t_s), np.sin(2 * np.pi * t_s - np.pi / 6))
    >>> round(found.mean_deg, 2)
    30.0
    """
    least = 2.0 * np.pi * (LEAST_CYCLES - END_TOLERANCE)
    if len(one) < 4 or any(np.ptp(_phase_rad(signal)) < least for signal in (one, other)):
        raise Refused("too_little_traced")
    # The transform takes its signal to be periodic: a whole number of cycles is.
    rises = np.flatnonzero((one[:-1] < 0) & (one[1:] >= 0)) + 1
    if len(rises) < 2:
        raise Refused("too_little_traced")
    whole = slice(int(rises[0]), int(rises[-1]))
    mean = np.exp(1j * (_phase_rad(one[whole]) - _phase_rad(other[whole]))).mean()
    length = min(1.0, float(abs(mean)))
    if length < 1e-9:
        raise Refused("not_alike")
    return Phase(
        float(np.degrees(np.angle(mean))), float(np.degrees(np.sqrt(max(0.0, -2 * np.log(length)))))
    )


def relative_phase(w: Workings, made: Together) -> Phase:
    """Relative phase of the two contacts of a trial.

    Parameters
    ----------
    w : Workings
        Of a trial with two contacts on two parts, both cyclic.
    made : Together
        Their progress.

    Returns
    -------
    Phase
        0 if both are at the same place of their own guides; positive if contact 1 is behind.

    Raises
    ------
    Refused
        ``guide_lacks_feature`` if a guide does not swing; and as `phase_between`.
    """
    signals, shares = [], []
    run = _longest_run(np.isfinite(made.s_mm[0]) & np.isfinite(made.s_mm[1]))
    for contact, s_mm in zip(w.contacts, made.s_mm, strict=True):
        fit = contact.workings.alignment
        swing = None if fit is None else swing_of(fit.guide)
        if fit is None or swing is None:
            raise Refused("guide_lacks_feature")
        signals.append(swing.at(fit.guide, s_mm[run]))
        whole_mm = np.linspace(0.0, fit.guide.length_mm, LEAST_PLACES)
        shares.append(np.interp(whole_mm, swing.s_mm, swing.swing_mm))
    # Mirrored guides swing apart where they are drawn alike: one of them is turned over.
    sign = -1.0 if float(shares[0] @ shares[1]) < 0 else 1.0
    return phase_between(signals[0], sign * signals[1])
