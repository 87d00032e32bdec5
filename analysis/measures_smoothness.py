"""Measures of smoothness and rhythm."""

from analysis.measure import TrialMeasure

SMOOTHNESS_MEASURES: tuple[TrialMeasure, ...] = ()
