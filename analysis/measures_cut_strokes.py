"""Measures of pen strokes that stand for snips of the scissors."""

from analysis.measure import TrialMeasure

CUT_STROKE_MEASURES: tuple[TrialMeasure, ...] = ()
