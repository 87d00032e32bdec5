"""Measures of trends and change over many trials and days."""

from analysis.measure import SeriesMeasure

SERIES_MEASURES: tuple[SeriesMeasure, ...] = ()
