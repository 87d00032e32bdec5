"""Two contacts at once: who follows which part, and how their progress keeps together.

The two contacts are told apart by the device; the hand behind each is asked, not sensed.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from analysis.conditioning import of_contact
from analysis.filtering import low_passed
from analysis.guide import Guide
from analysis.stretches import LONGEST_S, stretches
from analysis.trace import FloatArray
from analysis.value import Refused
from analysis.workings import Workings

GRID_HZ = 120.0
"""Rate of the grid of time that both contacts share. [Hz]"""
LONGEST_LAG_S, LEAST_COMMON_S = 1.0, 1.0
"""Lags looked at, either way; least time in which both contacts are down. [s]"""
LEAST_PEAK = 0.3
"""Below this correlation the two do not move alike, and no lag is given. [1]"""
LEAST_OVERLAP = 0.5
"""A lag counts if this share of the common time is left at it. [1]"""
EQUAL_PEAK = 0.02
"""Peaks this near to the highest are as good; the one nearest to no lag is taken. [1]"""
LEAST_SPREAD_MM_S = 1e-6
"""Speeds that differ by less are all equal. [mm/s]"""


@dataclass(frozen=True, eq=False)
class Contact:
    """One contact of a trial with two: its number, its own workings, the part it follows."""

    pointer: int
    workings: Workings
    part: int | None


def _extent_mm(xy_mm: FloatArray) -> float:
    return float(np.hypot(*np.ptp(xy_mm, axis=0)))


def _part_guide(guide: Guide, part: int | None) -> Guide | None:
    return None if part is None else replace(guide, parts=(guide.parts[part],), targets=())


def contacts_of(w: Workings) -> tuple[Contact, ...]:
    """Return the contacts of a trial of mode ``both``, each measured as a trace of its own.

    Parameters
    ----------
    w : Workings
        Of the whole trial.

    Returns
    -------
    tuple of Contact
        Those that were seen, contact 0 first. Of a guide with two parts contact k follows
        part k. Of one with one part the contact of larger extent follows it and the other
        holds. Other guides are followed by none.
    """
    traces = {pointer: of_contact(w.trace, pointer) for pointer in (0, 1)}
    seen = [pointer for pointer, trace in traces.items() if len(trace) > 0]
    guide = w.asked_guide
    parts = 0 if guide is None else len(guide.parts)
    follows: dict[int, int] = {}
    if parts == 2:
        follows = {pointer: pointer for pointer in seen}
    elif parts == 1 and seen:
        follows = {max(seen, key=lambda pointer: _extent_mm(traces[pointer].xy_mm)): 0}
    found = []
    for pointer in seen:
        part = follows.get(pointer)
        own = replace(
            w.trial,
            mode="trace",
            trace=traces[pointer],
            guide=None if guide is None else _part_guide(guide, part),
            # A label of the whole trial fits neither of two mirrored parts.
            condition=replace(w.trial.condition, direction=None),
            criterion=None,
            declared_guide_id=None,
        )
        found.append(Contact(pointer, Workings(own), part))
    return tuple(found)


def holding(w: Workings) -> Workings:
    """Return the workings of the contact that holds while the other follows the guide.

    Raises
    ------
    Refused
        ``too_little_traced`` unless two contacts were seen.
    """
    held = [contact.workings for contact in w.contacts if contact.part is None]
    if len(w.contacts) < 2 or not held:
        raise Refused("too_little_traced")
    return held[0]


class Together(NamedTuple):
    """Progress [mm] and its speed [mm/s] of contacts 0 and 1, NaN where one is not drawing."""

    s_mm: tuple[FloatArray, FloatArray]
    speed_mm_s: tuple[FloatArray, FloatArray]


def _on_grid(w: Workings) -> list[tuple[int, FloatArray]]:
    """Low-passed progress on the common grid: first place on it and values, piece by piece."""
    if w.alignment is None:
        raise Refused("too_little_traced")
    # Across a lift or a leap along the guide there is no progress to interpolate.
    breaks = np.insert(np.cumsum(~w.alignment.drawn, dtype=np.int64), 0, 0)
    found = []
    for piece in stretches(replace(w.trace, stroke=breaks), w.alignment.s_mm).stretches:
        first = int(np.ceil(piece.t_s[0] * GRID_HZ))
        last = int(np.floor(piece.t_s[-1] * GRID_HZ))
        if last - first < 1:
            continue
        s_mm = np.interp(np.arange(first, last + 1) / GRID_HZ, piece.t_s, piece.columns[:, 2])
        found.append((first, low_passed(s_mm[:, None], GRID_HZ, rests=False)[:, 0]))
    return found


def together(w: Workings) -> Together:
    """Return the progress of both contacts on one grid of time.

    Parameters
    ----------
    w : Workings
        Of the whole trial.

    Returns
    -------
    Together
        Arrays of equal length at 120 Hz, from 1 s before to 1 s after the time in which both
        had begun and neither had ended.

    Raises
    ------
    Refused
        ``too_few_samples`` if they are never down together for 1 s in all;
        ``gap_too_long`` if that time spans more than an hour.
    """
    pieces = [_on_grid(contact.workings) for contact in w.contacts]
    if len(pieces) < 2 or not all(pieces):
        raise Refused("too_few_samples")
    margin = round(LONGEST_LAG_S * GRID_HZ)
    first = max(made[0][0] for made in pieces) - margin
    last = min(max(at + len(s_mm) for at, s_mm in made) for made in pieces) + margin
    if last - first > LONGEST_S * GRID_HZ:
        raise Refused("gap_too_long")
    columns = []
    for made in pieces:
        both = np.full((2, max(0, last - first)), np.nan)
        for at, s_mm in made:
            part = slice(max(at, first) - first, max(0, min(at + len(s_mm), last) - first))
            kept = slice(max(first - at, 0), max(first - at, 0) + max(0, part.stop - part.start))
            if part.stop > part.start:
                both[:, part] = np.stack([s_mm, np.gradient(s_mm, 1.0 / GRID_HZ)])[:, kept]
        columns.append(both)
    (s_0, v_0), (s_1, v_1) = columns
    if np.count_nonzero(np.isfinite(v_0) & np.isfinite(v_1)) < LEAST_COMMON_S * GRID_HZ:
        raise Refused("too_few_samples")
    return Together((s_0, s_1), (v_0, v_1))


def _correlation(a: FloatArray, b: FloatArray) -> float | None:
    """Pearson correlation of the pairs both of which are known; None if one does not vary."""
    known = np.isfinite(a) & np.isfinite(b)
    a, b = a[known], b[known]
    if len(a) == 0 or a.std() <= LEAST_SPREAD_MM_S or b.std() <= LEAST_SPREAD_MM_S:
        return None
    return float(np.clip(((a - a.mean()) * (b - b.mean())).mean() / (a.std() * b.std()), -1, 1))


def progress_correlation(made: Together) -> float:
    """Correlation of the two speeds of progress at one time. [1]

    Raises
    ------
    Refused
        ``zero_variance`` if one of them never varies.
    """
    found = _correlation(*made.speed_mm_s)
    if found is None:
        raise Refused("zero_variance")
    return found


def _at_lags(made: Together) -> tuple[list[int], FloatArray]:
    """Correlation of contact 0 now with contact 1 later, for every lag with enough pairs."""
    v_0, v_1 = made.speed_mm_s
    least = LEAST_OVERLAP * np.count_nonzero(np.isfinite(v_0) & np.isfinite(v_1))
    reach = round(LONGEST_LAG_S * GRID_HZ)
    lags, found = [], []
    for lag in range(-reach, reach + 1):
        a = v_0[max(0, -lag) : len(v_0) - max(0, lag)]
        b = v_1[max(0, lag) : len(v_1) - max(0, -lag)]
        if np.count_nonzero(np.isfinite(a) & np.isfinite(b)) < least:
            continue
        value = _correlation(a, b)
        if value is not None:
            lags.append(lag)
            found.append(value)
    return lags, np.array(found)


def progress_lag_s(made: Together) -> float:
    """How far contact 1 is behind contact 0.

    Parameters
    ----------
    made : Together
        Progress of both.

    Returns
    -------
    float
        Lag of the highest peak of the correlation of the two speeds of progress, within 1 s;
        of peaks equal within 0.02 the one nearest 0; between grid places by a parabola. [s]

    Raises
    ------
    Refused
        ``zero_variance`` if a speed never varies, ``not_alike`` if there is no peak of at
        least 0.3 inside 1 s.
    """
    progress_correlation(made)
    lags, value = _at_lags(made)
    inner = [
        at
        for at in range(1, len(lags) - 1)
        if value[at] >= LEAST_PEAK and value[at] >= value[at - 1] and value[at] >= value[at + 1]
    ]
    if not inner:
        raise Refused("not_alike")
    highest = max(float(value[at]) for at in inner)
    best = min(
        (at for at in inner if value[at] >= highest - EQUAL_PEAK), key=lambda k: abs(lags[k])
    )
    before, here, after = value[best - 1 : best + 2].tolist()
    bend = before - 2.0 * here + after
    beside = 0.5 * (before - after) / bend if bend < 0 else 0.0
    return (lags[best] + beside) / GRID_HZ
