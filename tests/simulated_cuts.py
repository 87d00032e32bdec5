"""Simulated cut pieces: one true edge each, digitised in several ways."""

from dataclasses import dataclass

import numpy as np

from analysis import shapes
from analysis.cut import Cut
from analysis.guide import Part
from analysis.trace import FloatArray

SEED = 20_260_307
TEMPLATES: dict[str, FloatArray] = {
    "circle": shapes.circle(40.0),
    "square": shapes.square(80.0),
    "rectangle": shapes.rectangle(90.0, 50.0),
}
BAND_MM = 3.2
DENSE_MM = 0.1


@dataclass(frozen=True)
class Digitising:
    """How an edge is read: spacing of its vertices, noise of each, step of a pixel. [mm]"""

    spacing_mm: float = 0.25
    noise_mm: float = 0.0
    step_mm: float = 0.0


def _evenly(ring_mm: FloatArray, spacing_mm: float) -> FloatArray:
    closed = np.vstack([ring_mm, ring_mm[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    at = np.arange(0.0, along[-1] - 0.5 * spacing_mm, spacing_mm)
    return np.column_stack([np.interp(at, along, column) for column in closed.T])


def true_edge_mm(number: int) -> tuple[str, FloatArray]:
    """Name of the template, and an edge of snips beside it that was laid down anyhow."""
    rng = np.random.default_rng([SEED, number])
    kind = tuple(TEMPLATES)[number % len(TEMPLATES)]
    template_mm = TEMPLATES[kind]
    line_mm = _evenly(template_mm, DENSE_MM)
    angle = 2.0 * np.pi * np.arange(len(line_mm)) / len(line_mm)
    off_mm = np.full(len(line_mm), rng.normal(0.4, 0.8))
    for order in range(2, 10):
        off_mm += rng.normal(0.0, 0.5) * np.cos(order * angle + rng.uniform(0.0, 2.0 * np.pi))
    away = line_mm - 0.5 * (template_mm.min(axis=0) + template_mm.max(axis=0))
    away /= np.hypot(*away.T)[:, None]
    edge_mm = line_mm + off_mm[:, None] * away
    # Straight snips of about the length of a blade's bite.
    count = int(rng.integers(14, 30))
    ends = np.sort(rng.choice(len(edge_mm), count, replace=False))
    if rng.uniform() < 0.6:
        edge_mm = _evenly(edge_mm[ends], DENSE_MM)
    turn = np.radians(rng.normal(0.0, 8.0))
    turned = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return kind, edge_mm @ turned + rng.normal(0.0, 15.0, 2)


def digitised(number: int, how: Digitising) -> Cut:
    """A cut piece as it would be entered."""
    kind, edge_mm = true_edge_mm(number)
    rng = np.random.default_rng([SEED, number, 1, round(1000 * how.spacing_mm)])
    outline_mm = _evenly(edge_mm, how.spacing_mm)
    outline_mm = outline_mm + how.noise_mm * rng.standard_normal(outline_mm.shape)
    if how.step_mm:
        outline_mm = np.round(outline_mm / how.step_mm) * how.step_mm
    return Cut(
        f"00000000-0000-4000-8000-{number:012d}",
        Part(TEMPLATES[kind], closed=True),
        outline_mm,
        band_mm=BAND_MM,
        calibrated=True,
    )
