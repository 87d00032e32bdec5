"""The path a child is asked to follow, in millimetres."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from analysis.errors import BadGuide
from analysis.trace import FloatArray, IntArray

SHORTEST_SEGMENT_MM = 1e-9


@dataclass(frozen=True, eq=False)
class Part:
    """One polyline of a guide.

    Parameters
    ----------
    points_mm : array_like, shape (n, 2)
        Vertices in the asked order, y down. A closed part may repeat its first
        point at the end; the repetition is dropped. [mm]
    closed : bool
        Whether the last vertex is joined to the first.
    corridor_mm : float, array_like of shape (n,), or None
        **Full** width of the corridor, one for all or one per vertex. [mm]

    Raises
    ------
    BadGuide
        If there are fewer than two distinct points, or a width is not positive.

    Examples
    --------
    >>> Part([[0, 0], [10, 0], [10, 10], [0, 0]], closed=True, corridor_mm=8).points_mm.shape
    (3, 2)
    """

    points_mm: FloatArray
    closed: bool = False
    corridor_mm: FloatArray | None = None

    def __post_init__(self) -> None:
        points_mm = np.array(self.points_mm, dtype=np.float64)
        if points_mm.ndim != 2 or points_mm.shape[1:] != (2,) or len(points_mm) < 2:
            raise BadGuide("points_mm must be at least two points of two numbers")
        if not np.isfinite(points_mm).all():
            raise BadGuide("points_mm must be finite")
        corridor_mm = self._checked_corridor(len(points_mm))
        keep = np.hypot(*np.diff(points_mm, axis=0, prepend=np.nan).T) > SHORTEST_SEGMENT_MM
        keep[0] = True
        if self.closed and np.hypot(*(points_mm[-1] - points_mm[0])) <= SHORTEST_SEGMENT_MM:
            keep[-1] = False
        points_mm = points_mm[keep]
        if len(points_mm) < 2:
            raise BadGuide("points_mm must hold at least two distinct points")
        points_mm.setflags(write=False)
        object.__setattr__(self, "points_mm", points_mm)
        if corridor_mm is not None:
            corridor_mm = corridor_mm[keep]
            corridor_mm.setflags(write=False)
        object.__setattr__(self, "corridor_mm", corridor_mm)

    def _checked_corridor(self, count: int) -> FloatArray | None:
        if self.corridor_mm is None:
            return None
        width_mm = np.array(self.corridor_mm, dtype=np.float64)
        if width_mm.ndim == 0:
            width_mm = np.full(count, float(width_mm))
        if width_mm.shape != (count,):
            raise BadGuide(f"corridor_mm must be one number or one per vertex ({count})")
        if not np.isfinite(width_mm).all() or (width_mm <= 0).any():
            raise BadGuide("corridor_mm must be above 0")
        return width_mm

    @cached_property
    def outline_mm(self) -> FloatArray:
        """Vertices with the first one repeated when the part is closed. [mm]"""
        if not self.closed:
            return self.points_mm
        return np.vstack([self.points_mm, self.points_mm[:1]])

    @cached_property
    def outline_corridor_mm(self) -> FloatArray | None:
        """Full width at each vertex of `outline_mm`. [mm]"""
        if self.corridor_mm is None or not self.closed:
            return self.corridor_mm
        return np.append(self.corridor_mm, self.corridor_mm[0])

    def reversed(self) -> "Part":
        """Return the part run backwards; a closed one keeps its first vertex."""
        order = np.arange(len(self.points_mm))[::-1]
        if self.closed:
            order = np.roll(order, 1)
        width_mm = None if self.corridor_mm is None else self.corridor_mm[order]
        return Part(self.points_mm[order], self.closed, width_mm)


@dataclass(frozen=True)
class Target:
    """A dot to tap or to join: centre, radius [mm] and place in the order (from 0)."""

    x_mm: float
    y_mm: float
    radius_mm: float
    order: int


@dataclass(frozen=True, eq=False)
class Guide:
    """Polylines with a direction, a corridor, a start and a stop target.

    Progress ``s_mm`` runs from 0 to `length_mm` through all parts, with no guide
    between them. A guide of one closed part is closed: its progress wraps.

    Parameters
    ----------
    parts : sequence of Part
        In the asked order.
    start_radius_mm, stop_radius_mm : float or None
        Radii of the start and the stop target. [mm]
    midline_x_mm : float or None
        Where the middle of the child's body is; never assumed. [mm]
    midline_source : str or None
        How it is known, for example ``entered`` or ``device_centre``.
    targets : sequence of Target
        Dots of modes ``tap`` and ``join``; without parts the guide runs through them,
        if they lie in two places at least.

    Raises
    ------
    BadGuide
        If there is neither a part nor a pair of targets.
    """

    parts: Sequence[Part] = ()
    start_radius_mm: float | None = None
    stop_radius_mm: float | None = None
    midline_x_mm: float | None = None
    midline_source: str | None = None
    targets: Sequence[Target] = field(default=())

    def __post_init__(self) -> None:
        parts = tuple(self.parts)
        targets = tuple(sorted(self.targets, key=lambda target: target.order))
        places_mm = np.array([[t.x_mm, t.y_mm] for t in targets])
        # Dots that all lie in one place have no line through them.
        if not parts and len(np.unique(places_mm, axis=0)) >= 2:
            parts = (Part(places_mm),)
        if not parts and not targets:
            raise BadGuide("a guide needs points, parts or targets")
        object.__setattr__(self, "parts", parts)
        object.__setattr__(self, "targets", targets)

    @classmethod
    def from_points(
        cls,
        points_mm: ArrayLike,
        *,
        closed: bool = False,
        corridor_mm: ArrayLike | None = None,
        midline_x_mm: float | None = None,
    ) -> "Guide":
        """Return the guide of a single polyline (see `Part` for the arguments)."""
        width_mm = None if corridor_mm is None else np.asarray(corridor_mm, dtype=np.float64)
        part = Part(np.asarray(points_mm, dtype=np.float64), closed, width_mm)
        return cls((part,), midline_x_mm=midline_x_mm)

    @property
    def closed(self) -> bool:
        """Whether progress wraps round."""
        return len(self.parts) == 1 and self.parts[0].closed

    @cached_property
    def segment_start_mm(self) -> FloatArray:
        """First point of every straight piece, shape (m, 2). [mm]"""
        return np.vstack([part.outline_mm[:-1] for part in self.parts])

    @cached_property
    def segment_vector_mm(self) -> FloatArray:
        """From first to last point of every straight piece, shape (m, 2). [mm]"""
        return np.vstack([np.diff(part.outline_mm, axis=0) for part in self.parts])

    @cached_property
    def segment_length_mm(self) -> FloatArray:
        """Length of every straight piece, shape (m,). [mm]"""
        return np.asarray(np.hypot(*self.segment_vector_mm.T))

    @cached_property
    def segment_tangent(self) -> FloatArray:
        """Unit vector of every straight piece in the asked direction, shape (m, 2). [1]"""
        return self.segment_vector_mm / self.segment_length_mm[:, None]

    @cached_property
    def segment_part(self) -> IntArray:
        """Index of the part that every straight piece belongs to, shape (m,). [1]"""
        counts = [len(part.outline_mm) - 1 for part in self.parts]
        return np.repeat(np.arange(len(self.parts)), counts)

    @cached_property
    def segment_s_mm(self) -> FloatArray:
        """Progress at both ends of all straight pieces, shape (m + 1,). [mm]"""
        return np.concatenate([[0.0], np.cumsum(self.segment_length_mm)])

    @property
    def length_mm(self) -> float:
        """Length of all parts together. [mm]"""
        return float(self.segment_s_mm[-1])

    @property
    def first_point_mm(self) -> FloatArray:
        """Centre of the start target. [mm]"""
        return np.asarray(self.parts[0].outline_mm[0])

    @property
    def last_point_mm(self) -> FloatArray:
        """Centre of the stop target. [mm]"""
        return np.asarray(self.parts[-1].outline_mm[-1])

    def segment_at(self, s_mm: ArrayLike) -> IntArray:
        """Return the index of the straight piece at progress `s_mm` (clamped). [1]"""
        found = np.searchsorted(self.segment_s_mm, s_mm, side="right") - 1
        return np.asarray(np.clip(found, 0, len(self.segment_length_mm) - 1), dtype=np.int64)

    def wrapped(self, s_mm: ArrayLike) -> FloatArray:
        """Return progress brought into 0..length: modulo if closed, else clamped. [mm]"""
        s = np.asarray(s_mm, dtype=np.float64)
        inside = np.mod(s, self.length_mm) if self.closed else np.clip(s, 0.0, self.length_mm)
        return np.asarray(inside)

    def point_at(self, s_mm: ArrayLike) -> FloatArray:
        """Return the points at progress `s_mm`, shape (..., 2). [mm]"""
        s = self.wrapped(s_mm)
        at = self.segment_at(s)
        along_mm = s - self.segment_s_mm[at]
        return np.asarray(
            self.segment_start_mm[at] + along_mm[..., None] * self.segment_tangent[at]
        )

    @property
    def has_corridor(self) -> bool:
        """Whether every part has a corridor."""
        return all(part.corridor_mm is not None for part in self.parts)

    def half_width_at(self, s_mm: ArrayLike) -> FloatArray:
        """Return half the corridor's width at progress `s_mm`, linear in s. [mm]

        Raises
        ------
        BadGuide
            If the guide has no corridor.
        """
        s = self.wrapped(s_mm)
        at = self.segment_at(s)
        share = (s - self.segment_s_mm[at]) / self.segment_length_mm[at]
        first_mm, last_mm = self.segment_corridor_mm
        return 0.5 * (first_mm[at] + share * (last_mm[at] - first_mm[at]))

    @cached_property
    def segment_corridor_mm(self) -> tuple[FloatArray, FloatArray]:
        """Full width at the first and at the last point of every straight piece. [mm]"""
        widths_mm = [part.outline_corridor_mm for part in self.parts]
        known_mm = [width for width in widths_mm if width is not None]
        if len(known_mm) < len(widths_mm):
            raise BadGuide("this guide has no corridor")
        return (
            np.concatenate([width[:-1] for width in known_mm]),
            np.concatenate([width[1:] for width in known_mm]),
        )

    def reversed(self) -> "Guide":
        """Return the same guide asked in the other direction."""
        return replace(
            self,
            parts=tuple(part.reversed() for part in reversed(self.parts)),
            start_radius_mm=self.stop_radius_mm,
            stop_radius_mm=self.start_radius_mm,
        )
