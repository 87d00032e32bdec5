"""Outlines of cut pieces whose truth is known, and what is measured on them."""

import numpy as np

from analysis.cut import Cut
from analysis.cut_workings import CutWorkings
from analysis.guide import Part
from analysis.registry import measure_cut
from analysis.trace import FloatArray
from analysis.value import Value

SQUARE = np.array([[0.0, 0.0], [40.0, 0.0], [40.0, 40.0], [0.0, 40.0]])
L_SHAPE = np.array([[0.0, 0.0], [60.0, 0.0], [60.0, 20.0], [20.0, 20.0], [20.0, 60.0], [0.0, 60.0]])


def circle_mm(radius_mm: float, count: int, centre_mm: tuple[float, float] = (0, 0)) -> FloatArray:
    """Regular polygon inscribed in a circle."""
    angle = np.arange(count) * 2 * np.pi / count
    return np.array(centre_mm) + radius_mm * np.column_stack([np.cos(angle), np.sin(angle)])


def rounded_square_mm(side_mm: float, radius_mm: float, count: int = 2000) -> FloatArray:
    """Square with a fillet at every corner, `count` chords each."""
    inner = side_mm - radius_mm
    centres = [(inner, inner), (radius_mm, inner), (radius_mm, radius_mm), (inner, radius_mm)]
    arcs = []
    for quarter, centre in enumerate(centres):
        angle = np.linspace(quarter, quarter + 1, count + 1) * np.pi / 2
        arcs.append(np.array(centre) + radius_mm * np.column_stack([np.cos(angle), np.sin(angle)]))
    return np.vstack(arcs)


def densely(xy_mm: FloatArray, spacing_mm: float) -> FloatArray:
    """The same closed line with points at most so far apart."""
    pieces = []
    for first, last in zip(xy_mm, np.roll(xy_mm, -1, axis=0), strict=True):
        count = int(np.ceil(np.hypot(*(last - first)) / spacing_mm))
        pieces.append(first + np.arange(count)[:, None] / count * (last - first))
    return np.vstack(pieces)


def evenly(xy_mm: FloatArray, spacing_mm: float) -> FloatArray:
    """Points at equal distances all round a closed line, at most so far apart."""
    ring = np.vstack([xy_mm, xy_mm[:1]])
    along = np.insert(np.cumsum(np.hypot(*np.diff(ring, axis=0).T)), 0, 0.0)
    at = np.arange(int(np.ceil(along[-1] / spacing_mm)))
    at = at * along[-1] / len(at)
    return np.array([np.interp(at, along, column) for column in ring.T]).T


def moved(xy_mm: FloatArray, turn_deg: float, shift_mm: tuple[float, float] = (0, 0)) -> FloatArray:
    """Points turned about the origin (x towards y), then shifted."""
    angle = np.radians(turn_deg)
    cos, sin = np.cos(angle), np.sin(angle)
    x, y = xy_mm.T
    return np.column_stack([cos * x - sin * y, sin * x + cos * y]) + np.array(shift_mm)


def blob_mm(seed: int, count: int = 300, radius_mm: float = 40.0) -> FloatArray:
    """Smooth irregular shape without symmetry."""
    rng = np.random.default_rng(seed)
    angle = np.arange(count) * 2 * np.pi / count
    wave = np.zeros(count)
    for order in range(2, 7):
        wave += rng.uniform(0.03, 0.12) * np.cos(order * angle + rng.uniform(0, 2 * np.pi))
    return (radius_mm * (1 + wave))[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])


def cut_of(
    template_mm: FloatArray, outline_mm: FloatArray | None, kind: str = "none", **more: object
) -> Cut:
    """A calibrated cut, not laid unless said otherwise."""
    corridor_mm = more.pop("corridor_mm", None)
    fields: dict[str, object] = {"calibrated": True, "registration": kind, **more}
    template = Part(template_mm, closed=True, corridor_mm=corridor_mm)  # type: ignore[arg-type]
    return Cut("00000000-0000-4000-8000-000000000000", template, outline_mm, **fields)  # type: ignore[arg-type]


def values(
    template_mm: FloatArray, outline_mm: FloatArray | None, kind: str = "none", **more: object
) -> dict[str, Value]:
    """All measures of such a cut."""
    return measure_cut(CutWorkings(cut_of(template_mm, outline_mm, kind, **more)))


def number(found: dict[str, Value], name: str) -> float:
    value = found[name].number
    assert value is not None, (name, found[name].reason)
    return value
