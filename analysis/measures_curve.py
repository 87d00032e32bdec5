"""Measures that compare whole curves, and corners, with the guide (MEASURES 3)."""

import numpy as np

from analysis import corners, deviation, distances
from analysis.measure import TrialMeasure
from analysis.measures_deviation import alignment_of, length_measure
from analysis.needs import DEVIATION
from analysis.workings import Workings

CURVE = "Whole curves compared"
CORNER = "Corners"


def _area(w: Workings) -> float:
    guide = alignment_of(w).guide
    if not guide.closed:
        return distances.area_open_mm2(guide, w.trace.xy_mm)
    deviation.outward_sign(guide)
    return distances.area_closed_mm2(guide, w.first_lap_mm)


def _corner_miss(w: Workings) -> float:
    misses = corners.corner_misses_mm(alignment_of(w), w.trace.xy_mm)
    return float(np.mean([miss for _, miss in misses]))


def _corner_radius(w: Workings) -> float:
    misses = corners.corner_misses_mm(alignment_of(w), w.trace.xy_mm)
    return float(np.mean([corners.fillet_radius_mm(corner, miss) for corner, miss in misses]))


CURVE_MEASURES: tuple[TrialMeasure, ...] = (
    TrialMeasure(
        id="area_between",
        label="Area between trace and line",
        unit="mm2",
        family=CURVE,
        meaning="Area enclosed between guide and trace; for a closed guide the symmetric "
        "difference with the first full lap.",
        source="MEASURES 3",
        function=_area,
        needs=DEVIATION | {"one_part"},
        better="low",
        decimals=0,
    ),
    length_measure(
        "hausdorff_distance",
        "Hausdorff distance",
        "Largest distance from any point of either curve to the other.",
        lambda w: distances.hausdorff_mm(alignment_of(w).guide, w.strokes_mm),
        family=CURVE,
        source="MEASURES 3; Hausdorff",
    ),
    length_measure(
        "frechet_distance",
        "Fréchet distance",
        "Discrete Fréchet distance, both curves resampled to 1 mm: aware of the order of drawing.",
        lambda w: distances.frechet_mm(alignment_of(w).guide, w.trace.xy_mm),
        family=CURVE,
        source="MEASURES 3; Eiter & Mannila 1994",
    ),
    length_measure(
        "dtw_mean_distance",
        "Mean warped distance",
        "Dynamic time warping cost over the number of cells of its path, symmetric step.",
        lambda w: distances.dtw_mean_mm(alignment_of(w).guide, w.trace.xy_mm),
        family=CURVE,
        source="MEASURES 3; Sakoe & Chiba 1978",
    ),
    length_measure(
        "corner_miss",
        "Distance from the corners",
        "Least distance of the trace from each corner of at least 30°, averaged.",
        _corner_miss,
        family=CORNER,
        needs=DEVIATION | {"corner"},
    ),
    length_measure(
        "corner_radius",
        "Roundness of the corners",
        "Radius of the fillet that misses each corner by as much, averaged.",
        _corner_radius,
        family=CORNER,
        needs=DEVIATION | {"corner"},
    ),
)
