"""Guides on which the nearest point is the wrong one, and random traces of them."""

import numpy as np

from analysis import shapes, shapes_winding
from analysis.alignment import align
from analysis.guide import Guide, Part
from analysis.trace import FloatArray
from tests.known import Known, beside

WRONG_MM = 10.0


def spiral() -> Guide:
    """Three turns, pitch 10 mm, from radius 4 mm, finely sampled."""
    angle = np.linspace(0, 6 * np.pi, 4001)
    radius = 4 + 10 * angle / (2 * np.pi)
    return Guide.from_points(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))


def hairpin() -> Guide:
    return Guide.from_points(shapes_winding.hairpin(120, 12))


def figure_eight() -> Guide:
    p = np.linspace(0, 2 * np.pi, 4001)[:-1]
    return Guide.from_points(np.column_stack([50 * np.sin(p), 25 * np.sin(2 * p)]), closed=True)


def nested() -> Guide:
    return Guide(
        [
            Part(np.array([[x, x], [80 - x, x], [80 - x, 80 - x], [x, 80 - x]], float), closed=True)
            for x in (0.0, 12.0, 24.0)
        ]
    )


def close_zigzag() -> Guide:
    return Guide.from_points(shapes.zigzag(8, 40, 10))


def letters() -> Guide:
    return Guide.from_points(shapes_winding.letter_loops(34, 40, count=5, loop_mm=14))


def error_mm(guide: Guide, found_s_mm: FloatArray, true_s_mm: FloatArray) -> FloatArray:
    """Distance along the guide; the end of a ring is its start."""
    away = found_s_mm - true_s_mm
    ring_mm = np.full(len(away), guide.length_mm if guide.closed else np.inf)
    if len(guide.parts) > 1:
        lengths = np.bincount(guide.segment_part, guide.segment_length_mm)
        found, true = (guide.segment_part[guide.segment_at(s)] for s in (found_s_mm, true_s_mm))
        closed = np.array([part.closed for part in guide.parts])
        ring_mm = np.where((found == true) & closed[true], lengths[true], np.inf)
    return np.abs(
        away
        - np.where(
            np.isfinite(ring_mm), np.nan_to_num(ring_mm, posinf=0.0) * np.round(away / ring_mm), 0.0
        )
    )


def nearest_s_mm(guide: Guide, xy_mm: FloatArray) -> FloatArray:
    """Progress of the nearest point of the whole guide."""
    grid_s_mm = np.linspace(0, guide.length_mm, int(guide.length_mm * 10) + 1)
    grid = guide.point_at(np.clip(grid_s_mm, 0, guide.length_mm * (1 - 1e-12)))
    return np.array([grid_s_mm[np.hypot(*(grid - p).T).argmin()] for p in xy_mm])


def aligned_error(guide: Guide, known: Known) -> FloatArray:
    """Error of progress; the pen is lifted between the parts of a guide."""
    stroke = guide.segment_part[guide.segment_at(known.s_mm)]
    found = align(guide, known.xy_mm, stroke)
    return error_mm(guide, found.s_mm, known.s_mm)


def random_trace(guide: Guide, most_mm: float, rng: np.random.Generator) -> Known:
    """Random amplitude and wavelength, uneven speed, jitter 0.05 mm."""
    count = 900
    pace = np.cumsum(
        1 + 0.8 * np.sin(np.linspace(0, rng.uniform(4, 20), count) + rng.uniform(0, 6))
    )
    s_mm = (pace - pace[0]) / (pace[-1] - pace[0]) * guide.length_mm * (1 - 1e-9)
    wave = 2 * np.pi * s_mm / rng.uniform(30, 120) + rng.uniform(0, 2 * np.pi)
    d_mm = rng.uniform(0.1, 1.0) * most_mm * np.sin(wave)
    xy_mm = beside(guide, s_mm, d_mm) + rng.normal(0, 0.05, (count, 2))
    return Known(np.arange(count) / 120, xy_mm, s_mm, d_mm)


RANDOM_GUIDES = {
    "spiral": (spiral(), 6.0),
    "hairpin": (hairpin(), 7.2),
    "figure-eight": (figure_eight(), 7.2),
    "nested rectangles": (nested(), 7.2),
    "close zigzag": (close_zigzag(), 4.0),
    "letter loops": (letters(), 3.0),
    "smooth random": (Guide.from_points(shapes_winding.random_smooth(7)), 6.0),
}
