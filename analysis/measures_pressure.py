"""Measures of how hard the pen was pressed."""

from analysis.measure import TrialMeasure

PRESSURE_MEASURES: tuple[TrialMeasure, ...] = ()
