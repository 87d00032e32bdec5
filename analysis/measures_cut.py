"""Measures of the digitised edge of a cut piece."""

from analysis.measure import CutMeasure

CUT_MEASURES: tuple[CutMeasure, ...] = ()
