"""Measures of dots tapped or joined."""

from analysis.measure import TrialMeasure

TARGET_MEASURES: tuple[TrialMeasure, ...] = ()
