"""Measures of the digitised edge of a cut piece against the closed line it was cut along."""

from collections.abc import Callable
from typing import Any

import numpy as np

from analysis import cutting
from analysis.cut_workings import EDGE, CutWorkings
from analysis.measure import CutMeasure
from analysis.value import Refused

FAMILY = "Cut edge"
LAID = "The outline is laid on the template by printed marks, by the rigid best fit, or as given. "
DISTANCE = LAID + (
    "d is the distance of a point of the outline from the exact template line, positive outside "
    "it, at every vertex and at steps of at most 1/16384 of the outline's length L, linear "
    "between. "
)
SCALE = (
    "Refused where the scale of the photograph is not known: unlike a trial's guide and trace, "
    "template and outline do not share one. "
)
FITTED = "A best fit hides a shift and a turn of the whole cut; printed marks keep them. "


def _mean(w: CutWorkings) -> float:
    return w.edge.mean_abs_mm


def _largest(w: CutWorkings) -> float:
    return cutting.largest_mm(w.edge, w.outline, w.template)


def _outward(w: CutWorkings) -> float:
    return w.edge.mean_mm


def _within(w: CutWorkings) -> float:
    if w.edge.band_mm is None:
        raise Refused("guide_lacks_feature")
    return w.edge.within_share(w.edge.band_mm)


def _area_ratio(w: CutWorkings) -> float:
    if w.digitised is None or w.template_polygon is None:
        raise Refused("outline_invalid")
    return float(w.digitised.area / w.template_polygon.area)


def _overlap(w: CutWorkings) -> float:
    if w.template_polygon is None:
        raise Refused("guide_lacks_feature")
    return cutting.overlap_share(w.polygon, w.template_polygon)


def _corner_miss(w: CutWorkings) -> float:
    return float(np.mean(cutting.corner_misses_mm(w.outline, w.corners_mm)))


def _snip_marks(w: CutWorkings) -> float:
    return float(len(cutting.snip_marks_mm(w.outline, w.template)))


def _entry(
    id_: str, label: str, meaning: str, function: Callable[[CutWorkings], float], **more: Any
) -> CutMeasure:
    """Return an entry in mm, lower better, unless said otherwise (see `CutMeasure`)."""
    fields: dict[str, Any] = {
        "unit": "mm",
        "family": FAMILY,
        "needs": EDGE,
        "better": "low",
        "source": "Linnet convention; laying: Besl & McKay 1992, IEEE Trans Pattern Anal Mach "
        "Intell 14:239; Kabsch 1976, Acta Crystallogr A32:922 (from memory)",
    }
    return CutMeasure(id=id_, label=label, meaning=meaning, function=function, **fields | more)


CUT_MEASURES: tuple[CutMeasure, ...] = (
    _entry(
        "cut_deviation_mean",
        "Mean distance of the cut from the line",
        "Mean distance of the cut edge from the line, each millimetre of edge counted once.",
        _mean,
        formula=DISTANCE + "(1/L) ∫ |d| dl round the outline.",
        edges=SCALE + FITTED + "Independent of where the outline begins, which way round it runs "
        "and how densely it is digitised; noise does not cancel.",
    ),
    _entry(
        "cut_deviation_max",
        "Largest distance between cut and line",
        "Largest distance from any point of the cut edge to the line or of the line to the edge.",
        _largest,
        formula=LAID + "Symmetric Hausdorff distance of outline and template line: the larger of "
        "both greatest nearest distances, from points at steps of at most 1/16384 of each length.",
        edges=SCALE + FITTED + "Rests on one place, so led by noise; a corner cut off or a notch "
        "counts whole. Between vertices low by at most half a step.",
        source="Hausdorff 1914, Grundzüge der Mengenlehre (from memory); Linnet convention",
    ),
    _entry(
        "cut_bias_outward",
        "Paper left on or cut away",
        "Mean signed distance of the cut edge; positive where paper was left on outside the line.",
        _outward,
        better="near",
        near=0.0,
        formula=DISTANCE + "(1/L) ∫ d dl round the outline.",
        edges=SCALE + FITTED + "What is left on and what is cut away cancel; noise averages out. "
        "Of a shape moved sideways it is near 0, not exactly.",
    ),
    _entry(
        "cut_within_tolerance_share",
        "Share of the cut near the line",
        "Share of the cut edge's length that lies within the band each side of the line.",
        _within,
        unit="1",
        needs=EDGE | {"band"},
        better="high",
        decimals=2,
        formula=DISTANCE + "Length of outline with |d| <= band, over L; the band is as entered, "
        "else half the template's full corridor there. Its limits are crossed by linear "
        "interpolation and count as inside (within 1e-6 mm).",
        edges=SCALE + FITTED + "Per length of edge cut, so a jagged edge outside weighs more.",
    ),
    _entry(
        "cut_area_ratio",
        "Area cut out against area asked",
        "Area of the cut piece over the area of the template.",
        _area_ratio,
        unit="1",
        better="near",
        near=1.0,
        decimals=2,
        formula="A(outline) / A(template), of the polygons as digitised; needs no laying.",
        edges=SCALE + "Below 0.25 the outline is taken for something else and refused. Paper left "
        "on and cut away cancel. An error of the scale counts twice.",
        source="Linnet convention",
    ),
    _entry(
        "cut_overlap",
        "Overlap of the cut piece and the shape",
        "Area that cut piece and shape share, over the area that either covers.",
        _overlap,
        unit="1",
        better="high",
        decimals=2,
        formula=LAID
        + "Area of the intersection of outline and template, over the area of their union.",
        edges=SCALE + FITTED + "1 only for the exact shape, 0 where they lie apart. The same error "
        "in mm costs a small shape more. Hardly touched by noise.",
        source="Jaccard 1901, Bull Soc Vaudoise Sci Nat 37:547 (from memory)",
    ),
    _entry(
        "cut_corner_miss",
        "Distance of the cut from the corners",
        "Least distance of the cut edge from each corner of at least 30°, averaged.",
        _corner_miss,
        needs=EDGE | {"corner"},
        formula=LAID + "Mean over the template's vertices that turn by at least 30° of the least "
        "distance from the vertex to the outline.",
        edges=SCALE + FITTED + "A corner left on and one cut away read the same. A corner rounded "
        "with radius r at 90° misses by r(√2 - 1). Noise enters at about its own size.",
        source="Linnet convention",
    ),
    _entry(
        "cut_snip_marks",
        "Marks where a cut ended and another began",
        "Kinks of the cut edge of at least 20° that are no corners of the shape.",
        _snip_marks,
        unit="1",
        decimals=0,
        formula=LAID + "Places of the outline (vertices, and every 0.25 mm) at which the straight "
        "ways from 2 mm before and to 2 mm after turn by at least 20°, more than 5 mm from every "
        "place of the template that does so too; of several within 4 mm along the edge the "
        "sharpest counts.",
        edges=SCALE + "Needs the scale although it is a count, because its 2 mm and 5 mm do. A "
        "bulge of radius below 5.7 mm counts every 4 mm; kinks closer than 4 mm count as one, so "
        "where they crowd the count may tip; those within 5 mm of a corner do not count. A step to "
        "the side below 0.53 mm is not seen. Noise of 0.1 mm in single points turns by 7° (SD), "
        "noise of 0.3 mm counts some 40 marks that are none: digitise more finely than that.",
        source="Linnet convention",
    ),
)
