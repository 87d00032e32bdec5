"""Measures that compare whole curves, and corners, with the guide."""

import numpy as np

from analysis import corners, deviation, distances
from analysis.measure import JOINED_MODES, TrialMeasure
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


RESAMPLED = (
    "Guide as travelled and trace, each resampled to even steps of at most 1 mm, at most 600 points"
)

CURVE_MEASURES: tuple[TrialMeasure, ...] = (
    TrialMeasure(
        id="area_between",
        label="Area between trace and line",
        unit="mm2",
        family=CURVE,
        meaning="Area enclosed between guide and trace; for a closed guide the symmetric "
        "difference with the first full lap.",
        source="Linnet convention",
        function=_area,
        needs=DEVIATION | {"one_part", "simple"},
        better="low",
        decimals=0,
        formula="Open guide: sum of the faces enclosed by guide, trace and the two lines joining "
        "their ends. Closed guide: area inside either the guide or the first full lap, its ends "
        "joined, but not both.",
        edges="Each face counts once, however often it is circled. Lifts are bridged by a straight "
        "line. A lap less than nine tenths drawn is refused. Grows with the guide's length.",
    ),
    length_measure(
        "hausdorff_distance",
        "Hausdorff distance",
        "Largest distance from any point of either curve to the other.",
        lambda w: distances.hausdorff_mm(alignment_of(w).guide, w.strokes_mm),
        family=CURVE,
        source="Hausdorff 1914, Grundzuege der Mengenlehre (from memory)",
        modes=JOINED_MODES,
        formula="max(max_p min_q |p - q|, max_q min_p |p - q|), p on the trace stroke by stroke, "
        "q on the guide, from the vertices of either and points at most 0.25 mm apart between them "
        "to the lines of the other.",
        edges="Knows nothing of order or direction. What was not drawn counts: half a line reads "
        "as the way still to go. Led by single samples.",
        revision=2,
    ),
    length_measure(
        "frechet_distance",
        "Fréchet distance",
        "Discrete Fréchet distance, both curves resampled to 1 mm: aware of the order of drawing.",
        lambda w: distances.frechet_mm(alignment_of(w).guide, w.trace.xy_mm),
        family=CURVE,
        source="Eiter & Mannila 1994, TU Wien CD-TR 94/64 (from memory)",
        modes=JOINED_MODES,
        formula=RESAMPLED + "; least, over all ways of stepping through both without going back, "
        "of the largest distance between the points held together.",
        edges="A back-track of b reads as b/2, a line drawn from its other end as its length. "
        "Resampling makes it up to one step of 1 mm too large (a longer step beyond 600 mm). "
        "Lifts are bridged by a straight line.",
        revision=2,
    ),
    length_measure(
        "dtw_mean_distance",
        "Mean warped distance",
        "Dynamic time warping cost over the number of cells of its path, symmetric step.",
        lambda w: distances.dtw_mean_mm(alignment_of(w).guide, w.trace.xy_mm),
        family=CURVE,
        source="Sakoe & Chiba 1978, IEEE Trans. Acoust. Speech Signal Process. 26:43 (from memory)",
        modes=JOINED_MODES,
        formula=RESAMPLED + "; least sum of distances along a path of cells with steps (1,1), "
        "(1,0), (0,1), each costing the cell it enters, over the number of cells; the diagonal "
        "step goes first among equals.",
        edges="Warping hides what lies along the line and keeps what lies across it. Resampling "
        "adds less than one step of 1 mm. Lifts are bridged by a straight line.",
    ),
    length_measure(
        "corner_miss",
        "Distance from the corners",
        "Least distance of the trace from each corner of at least 30°, averaged.",
        _corner_miss,
        family=CORNER,
        source="Linnet convention",
        needs=DEVIATION | {"corner"},
        formula="For each vertex of the guide that turns by at least 30°: least distance from it "
        "to the trace within 10 mm of its progress; mean over the vertices that were reached.",
        edges="A corner rounded by radius r at interior angle a reads r (1/sin(a/2) - 1). Corners "
        "never drawn are left out. It is a least distance, so noise lowers it.",
    ),
    length_measure(
        "corner_radius",
        "Roundness of the corners",
        "Radius of the fillet that misses each corner by as much, averaged.",
        _corner_radius,
        family=CORNER,
        source="Linnet convention",
        needs=DEVIATION | {"corner", "round_corners"},
        formula="Mean over the corners reached of miss / (1/sin(a/2) - 1), a = 180° less the turn.",
        edges="Exact for a corner rounded by a circle. A blunt corner (a near 150°) multiplies its "
        "miss, and the noise in it, by 28. A guide that runs back on itself has no fillet there.",
    ),
)
