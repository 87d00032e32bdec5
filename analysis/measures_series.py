"""Measures of trends and change over many trials and days."""

from typing import Any

from analysis.control_band import signal_count, two_sd_band
from analysis.goals import criterion_met_share, goal_attainment_t
from analysis.measure import SeriesMeasure
from analysis.measures_hands import HAND_MEASURES
from analysis.nonoverlap import nonoverlap_all_pairs, nonoverlap_tau, tau_u
from analysis.reliability import (
    LEAST_ERROR,
    minimal_detectable_change,
    reliable_change,
    standard_error,
    standard_error_of_pairs,
)
from analysis.series import Series
from analysis.trend import trend_slope, trend_test
from analysis.value import Estimate, Refused

TREND = "Trend over sessions"
CHANGE = "Change since a baseline"
NOISE = "Noise of a measure"
GOALS = "Goals"

SESSIONS = frozenset({"too_few_sessions"})
TRIALS = frozenset({"too_few_trials"})
FLAT = frozenset({"zero_variance"})

DEPENDENT = (
    "Sessions of one child depend on each other, so p and intervals promise more than they keep."
)
ORIENTED = (
    "Values are turned first so that more is better: times -1 where lower is better, less the "
    "distance where near a value is better. Where neither is better, 'better' means larger. "
)


def _slope(series: Series) -> Estimate:
    found = trend_slope(series.days, series.values)
    return Estimate(found.per_week, found.low_per_week, found.high_per_week)


def _nap(series: Series) -> float:
    return nonoverlap_all_pairs(series.oriented[series.baseline], series.oriented[series.later])


def _tau(series: Series) -> float:
    return nonoverlap_tau(series.oriented[series.baseline], series.oriented[series.later])


def _tau_u(series: Series) -> float:
    baseline, oriented = series.baseline, series.oriented
    return tau_u(series.days[baseline], oriented[baseline], oriented[series.later])


def _band(series: Series) -> Estimate:
    band = two_sd_band(series.values[series.baseline])
    return Estimate(band.mean, band.low, band.high)


def _signals(series: Series) -> float:
    band = two_sd_band(series.values[series.baseline])
    return float(signal_count(band, series.values[series.later]))


def _error(series: Series) -> float:
    """Standard error of measurement; may be 0. [unit]"""
    known = series.reliability
    if known is None:
        return standard_error_of_pairs(series.repeats)
    if not known.same_condition:
        raise Refused("too_few_trials")
    return standard_error(known.sd, known.coefficient)


def _error_above_zero(series: Series) -> float:
    error = _error(series)
    if error < LEAST_ERROR:
        raise Refused("zero_variance")
    return error


def _reliable_change(series: Series) -> float:
    error = _error(series)
    if len(series) < 2:
        raise Refused("too_few_sessions")
    return reliable_change(float(series.oriented[0]), float(series.oriented[-1]), error)


def _entry(id_: str, label: str, meaning: str, function: Any, **more: Any) -> SeriesMeasure:
    fields: dict[str, Any] = {"unit": "1", "decimals": 2} | more
    return SeriesMeasure(id=id_, label=label, meaning=meaning, function=function, **fields)


SERIES_MEASURES: tuple[SeriesMeasure, ...] = (
    _entry(
        "trend_slope",
        "Change a week",
        "Median of the slopes between all pairs of sessions, over dates.",
        _slope,
        unit="{unit}/wk",
        family=TREND,
        refuses=SESSIONS,
        formula="7 × median over pairs with x_j > x_i of (y_j - y_i)/(x_j - x_i), x in days. 95 % "
        "interval: slopes of ranks (N ± 1.96 sqrt(Var S))/2, N pairs, Var S as in trend_test.",
        edges=f"Refused below 5 sessions or all on one day. Up to 29 % of sessions may be far "
        f"off. In the unit of the measure, not turned to 'better'. {DEPENDENT}",
        source="Sen 1968, J Am Stat Assoc 63:1379; Theil 1950",
        interval=True,
    ),
    _entry(
        "trend_test",
        "p of the trend",
        "How often a trend at least as strong would come up if the order of sessions were chance.",
        lambda s: trend_test(s.days, s.values).p,
        family=TREND,
        decimals=3,
        refuses=SESSIONS | FLAT,
        formula="The number is the two-sided p. S = sum over i<j of sign(x_j - x_i) sign(y_j - "
        "y_i). Below 10 sessions p = share of all orders with |S| at least as large, ties kept; "
        "else normal, Z = (S - sign S)/sqrt Var, Var = [n(n-1)(2n+5) - sum t(t-1)(2t+5)]/18 over "
        "ties t of values and of days, with Kendall's two further terms where both are tied.",
        edges=f"Refused below 4 sessions, all on one day or all equal. {DEPENDENT}",
        source="Mann 1945, Econometrica 13:245; Kendall 1975 (from memory); Gilbert 1987",
    ),
    _entry(
        "nonoverlap_all_pairs",
        "Later sessions against baseline",
        "Share of pairs of a baseline and a later session in which the later one is better "
        "(higher, where no direction is better).",
        _nap,
        family=CHANGE,
        better="high",
        refuses=SESSIONS,
        formula="NAP = (pairs better + 0.5 pairs tied) / (nA nB), A the baseline, B what follows.",
        edges=f"{ORIENTED}0.5 is no difference. Refused below 3 sessions in a phase. Says nothing "
        f"of how far. {DEPENDENT}",
        source="Parker & Vannest 2009, Behavior Therapy 40:357",
    ),
    _entry(
        "nonoverlap_tau",
        "Later sessions against baseline, less the reverse",
        "Share of pairs that are better less the share that are worse; higher less lower, where no "
        "direction is better.",
        _tau,
        family=CHANGE,
        better="high",
        refuses=SESSIONS,
        formula="Tau = (pairs better - pairs worse) / (nA nB) = 2 NAP - 1.",
        edges=f"{ORIENTED}0 is no difference. Refused below 3 sessions in a phase. {DEPENDENT}",
        source="Parker, Vannest & Davis 2011, Behavior Modification 35:303",
    ),
    _entry(
        "tau_u",
        "The same, less the baseline's own trend",
        "Tau less the trend that the baseline had of its own.",
        _tau_u,
        family=CHANGE,
        better="high",
        refuses=SESSIONS,
        formula="Tau-U = (S_AB - S_A) / (nA nB): S_AB = pairs better - pairs worse between the "
        "phases, S_A = Kendall's S of the baseline over its dates. Denominator: pairs between "
        "phases.",
        edges=f"{ORIENTED}May leave -1..1. Other variants divide by other counts of pairs. Prefer "
        f"Tau unless the baseline plainly has a trend. Refused below 3 in a phase. {DEPENDENT}",
        source="Parker, Vannest, Davis & Sauber 2011, Behavior Therapy 42:284",
    ),
    _entry(
        "two_sd_band",
        "Baseline and its band",
        "Mean of the baseline sessions, with the band of two standard deviations around it.",
        _band,
        unit="{unit}",
        family=CHANGE,
        refuses=SESSIONS | FLAT,
        formula="Number: mean of the baseline; ends: mean ± 2 SD, SD over nA - 1.",
        edges="Refused below 3 baseline sessions or if they are equal; below 5 the band is itself "
        f"uncertain. The ends are a band for sessions, no interval of the mean. {DEPENDENT}",
        source="Gottman & Leiblum 1974 (from memory)",
        interval=True,
    ),
    _entry(
        "two_sd_signal_count",
        "Sessions outside the band in a row",
        "Later sessions that complete a run of two or more outside the band on the same side.",
        _signals,
        family=CHANGE,
        decimals=0,
        refuses=SESSIONS | FLAT,
        formula="Number of later sessions that lie outside two_sd_band on the side on which the "
        "session before, also a later one, lies outside: a run of r counts r - 1.",
        edges=f"0 is no signal. Refused with fewer than two later sessions, which cannot give one. "
        f"Either side counts, for the better or not. {DEPENDENT}",
        source="Gottman & Leiblum 1974 (from memory)",
    ),
    _entry(
        "standard_error_of_measurement",
        "Noise of one trial",
        "Scatter of single trials of one day about the child's own level, as a standard deviation.",
        _error_above_zero,
        unit="{unit}",
        family=NOISE,
        refuses=TRIALS | FLAT,
        formula="SD(second - first trial of one day) / sqrt 2, SD over pairs - 1; or SD sqrt(1 - "
        "ICC) where both are known for the same guide and device.",
        edges="Refused below 5 pairs, or without any difference. A steady step from the first to "
        "the second trial is no part of it. Tiredness within a day is.",
        source="Shrout & Fleiss 1979, Psychol Bull 86:420 (ICC); Linnet convention (5 pairs)",
    ),
    _entry(
        "minimal_detectable_change_95",
        "Least change beyond noise",
        "A change between two trials that is smaller than this may be noise.",
        lambda s: minimal_detectable_change(_error_above_zero(s)),
        unit="{unit}",
        family=NOISE,
        refuses=TRIALS | FLAT,
        formula="1.96 sqrt 2 SEM, SEM = standard_error_of_measurement.",
        edges="Refused without a SEM. For single trials: medians of sessions scatter less.",
        source="Standard error of a difference at 95 %, as in Jacobson & Truax 1991",
    ),
    _entry(
        "reliable_change_index",
        "Change against noise",
        "Change from the first to the last session over the noise of a difference; above 0 is "
        "better (higher, where no direction is better).",
        _reliable_change,
        family=NOISE,
        better="high",
        refuses=TRIALS | SESSIONS | FLAT,
        formula="(x2 - x1) / (sqrt 2 SEM), x1 and x2 the first and the last session, SEM = "
        "SD sqrt(1 - r) or from repeats, of the same guide and device; beyond ±1.96 it is "
        "called reliable.",
        edges=f"{ORIENTED}Refused without a SEM. SEM is that of single trials, sessions are "
        "medians: cautious. Looks at two sessions only.",
        source="Jacobson & Truax 1991, J Consult Clin Psychol 59:12; Christensen & Mendoza 1986, "
        "Behav Ther 17:305 (from memory)",
    ),
    _entry(
        "criterion_met_share",
        "Criterion met",
        "Share of the last trials that met the criterion of the goal.",
        lambda s: criterion_met_share(s.met, s.met_of),
        family=GOALS,
        better="high",
        refuses=TRIALS,
        formula="k / n over the last n trials that could be judged; 95 % interval by Wilson.",
        edges="Refused without a goal or with fewer than n trials. Short runs prove little: by "
        "chance alone, at one in two, 4 of 5 come up with P = 0.19.",
        source="Wilson 1927, J Am Stat Assoc 22:209; Newcombe 1998, Stat Med 17:857",
        interval=True,
    ),
    _entry(
        "goal_attainment_t",
        "Goal attainment T",
        "Levels reached on rated goals as one T score, 50 if all are as expected.",
        lambda s: goal_attainment_t(s.goals),
        family=GOALS,
        better="high",
        decimals=1,
        refuses=TRIALS,
        formula="50 + 10 sum(w x) / sqrt(0.7 sum w^2 + 0.3 (sum w)^2), x in -2..2, w weights.",
        edges="Off unless the practice rates goals. Refused without goals, or if one was rescored "
        "after the fact. 0.3 is an assumed correlation; the levels are opinions, not lengths.",
        source="Kiresuk & Sherman 1968, Community Ment Health J 4:443",
    ),
    *HAND_MEASURES,
)
