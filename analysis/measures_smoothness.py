"""Measures of smoothness and rhythm."""

from typing import Any

import numpy as np

from analysis.curvature import PowerLaw, power_law
from analysis.kinematics import Kinematics
from analysis.measure import LINE_MODES, TrialMeasure
from analysis.needs import DEVIATION, SPEED
from analysis.rhythm import LEAST_RMS_MM, BandPower, band_power
from analysis.smoothness import jerk_of_stroke, mean_over_strokes, sparc_of_stroke
from analysis.stretches import stretches
from analysis.value import Refused
from analysis.workings import Workings

SMOOTHNESS = "Smoothness and rhythm"
DRAWN_MODES = LINE_MODES | {"join"}
STROKES = SPEED | {"rate_peaks", "long_strokes", "held"}
BENDS = SPEED | {"rate_fine", "long_strokes", "many_bends", "guide", "bent"}
WAVES = SPEED | DEVIATION | {"rate_peaks", "long_piece"}
OF_STROKES = (
    "Mean over the strokes of at least 0.5 s, weighted by their lengths; not given if they hold "
    "less than 60 % of the path, or if none reaches 1 mm/s. "
)
NOT_ACROSS = (
    "Depends on the length and shape of the guide and on how long it took: compare only trials "
    "on the same guide, with the same tool and tablet. "
)
BALASUBRAMANIAN = (
    "Balasubramanian, Melendez-Calderon, Roby-Brami & Burdet 2015, J. NeuroEng. Rehabil. 12:112"
)
LACQUANITI = "Lacquaniti, Terzuolo & Viviani 1983, Acta Psychol. 54:115 (from memory)"
WELCH = (
    "Linnet convention; spectrum: Welch 1967, IEEE Trans. Audio Electroacoust. 15:70 (from memory)"
)
FIT = (
    "Least squares of ln v on ln kappa, kappa = |x'y'' - y'x''| / v^3, over all samples of the "
    "even grid (low-passed at 5 Hz, order 4 a pass) with kappa > 0.005 mm-1, v > 5 % of the "
    "stroke's peak, 0.25 s away from both ends of strokes of at least 0.5 s. "
)
FIT_EDGES = (
    "Not given for fewer than 100 such samples, on a straight guide, or where the largest kappa is "
    "less than e times the smallest. Position noise adds curvature to slow and to straight "
    "stretches, and noise alone gives an exponent near -1/3: on an ellipse of 80 by 40 mm drawn in "
    "2 s, 0.05 mm moves it by less than 0.003, on slow lines with rests by 0.1. Corners count as "
    "bends. "
)
SPECTRUM = (
    "Distance d(t) from the line, not low-passed, on an even grid by monotone cubics; Welch's "
    "method (Hann windows of 4 s, spread evenly from end to end and overlapping by at least half, "
    "a line taken out of each) over every stretch of at least 3 s without lift, gap or leap, "
    "weighted by time. A leap is a change of d by 0.05 mm more than the pen moved: to another "
    "piece of the guide. Bins up to a tenth of their width outside a band belong to it. "
)
WAVE_EDGES = (
    "Cannot tell the rhythm of drawing, correcting, and an unsteady hand apart. White noise of "
    "0.05 mm alone gives 0.026 mm at 60 Hz and 0.018 mm from 120 Hz on. Very uneven times take "
    "1 % from waves of 6 Hz at 60 Hz, less at higher rates. Sharp corners bend d and part the "
    "stretches: compare only trials on the same guide. "
)


def _moving(w: Workings) -> Kinematics:
    if w.kinematics is None:
        raise Refused("no_time")
    return w.kinematics


def _sparc(w: Workings) -> float:
    return mean_over_strokes(_moving(w).pieces, sparc_of_stroke)


def _jerk(w: Workings) -> float:
    found = _moving(w)
    limit_mm_s = found.pause_limit_mm_s
    return mean_over_strokes(found.jerk_pieces, lambda piece: jerk_of_stroke(piece, limit_mm_s))


def _law(w: Workings) -> PowerLaw:
    return power_law(*_moving(w).bends)


def _fit(w: Workings) -> float:
    found = _law(w).r_squared
    if found is None:
        raise Refused("zero_variance")
    return found


def _waves(w: Workings) -> BandPower:
    if w.alignment is None:
        raise Refused("no_guide")
    return band_power(stretches(w.trace, w.alignment.d_mm))


def _wave_share(w: Workings) -> float:
    found = _waves(w)
    if found.all_mm2 <= LEAST_RMS_MM**2:
        raise Refused("zero_variance")
    return found.band_mm2 / found.all_mm2


def _smooth(id_: str, label: str, meaning: str, function: Any, **more: Any) -> TrialMeasure:
    fields: dict[str, Any] = {"unit": "1", "family": SMOOTHNESS, "modes": DRAWN_MODES}
    fields |= {"decimals": 2} | more
    return TrialMeasure(id=id_, label=label, meaning=meaning, function=function, **fields)


SMOOTHNESS_MEASURES: tuple[TrialMeasure, ...] = (
    _smooth(
        "sparc",
        "Smoothness (spectral arc length)",
        "How little the speed rises and falls, from the shape of its spectrum: about -1.4 for one "
        "even movement, lower with every interruption.",
        _sparc,
        formula="Speed (10 Hz low-pass) from first to last sample at 5 % of its peak; zeros to "
        "2^(ceil(log2 N) + 4) values; V = magnitude / largest, f <= 10 Hz, up to the last f with "
        "V >= 0.05 (fc): -sum sqrt((df/fc)^2 + dV^2). " + OF_STROKES,
        edges="Made for single movements; falls with duration and with every stop. "
        + NOT_ACROSS
        + "One minimum-jerk movement gives -1.408 in theory and -1.408 to -1.393 here, by where "
        "its spectrum is cut. Noise of 0.05 mm moves it by less than 0.002.",
        source=BALASUBRAMANIAN,
        needs=STROKES,
        refuses=frozenset({"too_little_traced"}),
        better="near",
        near=0.0,
    ),
    _smooth(
        "log_dimensionless_jerk",
        "Smoothness (log dimensionless jerk)",
        "How jerky the speed is, made free of size and time: -5.3 for one even movement, lower the "
        "more often it changes.",
        _jerk,
        formula="-ln(T^3 / v_peak^2 * integral (d2v/dt2)^2 dt), T = (N - 1) dt, second "
        "differences, ends extrapolated linearly, trapezoids; position low-passed at 5 Hz, order 4 "
        "a pass. Runs of at least 0.2 s below the pause limit at an end are cut to max(0.1 s, 2 * "
        "limit / |dv/dt| at the limit). " + OF_STROKES,
        edges=NOT_ACROSS + "Led by noise, the more the longer a stroke lasts: a movement of 80 mm "
        "(-5.32) with noise of 0.05 mm gives -5.6 in 1.5 s, now and then -6.5, and about "
        "-8.5 in 4 s; 0.01 mm gives -5.4 and -6.7. Not given for positions on a "
        "lattice above 0.1 mm, or for a speed that varies by less than 0.1 %.",
        source="Hogan & Sternad 2009, J. Mot. Behav. 41:529 (from memory); " + BALASUBRAMANIAN,
        needs=STROKES | {"fine_positions", "jerk_moved"},
        refuses=frozenset({"zero_variance"}),
        better="near",
        near=0.0,
    ),
    _smooth(
        "speed_curvature_exponent",
        "Slowing in bends: exponent",
        "How speed falls as the line bends more: -1/3 is the published power law, 0 means no "
        "slowing.",
        lambda w: _law(w).exponent,
        formula=FIT + "The slope.",
        edges=FIT_EDGES + NOT_ACROSS,
        source=LACQUANITI,
        needs=BENDS,
        refuses=frozenset({"guide_lacks_feature"}),
        better="near",
        near=-1 / 3,
    ),
    _smooth(
        "speed_curvature_r_squared",
        "Slowing in bends: fit",
        "Share of the changes of speed that go with the bends of the line.",
        lambda w: _fit(w),
        formula=FIT + "1 - residual / total sum of squares of ln v.",
        edges=FIT_EDGES + "Not given if the speed is constant. " + NOT_ACROSS,
        source=LACQUANITI,
        needs=BENDS,
        refuses=frozenset({"guide_lacks_feature", "zero_variance"}),
    ),
    _smooth(
        "speed_curvature_gain",
        "Slowing in bends: speed",
        "Speed that the fit gives where the line bends with a radius of 1 mm.",
        lambda w: _law(w).gain_mm_s,
        formula=FIT + "exp(intercept), kappa in mm-1: v = gain * (kappa * 1 mm)^exponent.",
        edges=FIT_EDGES + "An extrapolation to a bend sharper than most guides have; it moves with "
        "the exponent. " + NOT_ACROSS,
        source=LACQUANITI,
        needs=BENDS,
        refuses=frozenset({"guide_lacks_feature"}),
        unit="mm/s",
        decimals=1,
    ),
    _smooth(
        "band_4_12hz_share",
        "Share of fast waves (4 to 12 a second)",
        "Share of the waves across the line that are faster than 4 a second.",
        _wave_share,
        formula=SPECTRUM + "P(4-12 Hz) / P(0.5-12 Hz).",
        edges=WAVE_EDGES + "Falls when the slow waves grow, with the fast ones unchanged: read it "
        "beside the RMS. Not given below 1e-6 mm RMS, nor below 100 Hz, where it spreads by more "
        "than children differ. " + NOT_ACROSS,
        source=WELCH,
        needs=WAVES | {"rate_fine"},
        refuses=frozenset({"zero_variance"}),
        better="low",
    ),
    _smooth(
        "band_4_12hz_rms",
        "4-12 Hz size",
        "Root mean square of the waves across the line that are faster than 4 a second.",
        lambda w: float(np.sqrt(_waves(w).band_mm2)),
        formula=SPECTRUM + "sqrt P(4-12 Hz).",
        edges=WAVE_EDGES + NOT_ACROSS,
        source=WELCH,
        needs=WAVES,
        unit="mm",
        better="low",
    ),
)
