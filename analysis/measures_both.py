"""Measures of two hands at once."""

from analysis.measure import TrialMeasure

BOTH_MEASURES: tuple[TrialMeasure, ...] = ()
