"""Closed lines: whether they bound one shape, points along them, and what lies nearest."""

from functools import cached_property

import numpy as np
import shapely

from analysis.guide import SHORTEST_SEGMENT_MM
from analysis.trace import FloatArray, IntArray
from analysis.value import Refused

LEAST_AREA_SHARE = 0.25
"""An outline with less of the template's area is of something else. [1]"""
FARTHEST_MM = 1e6
"""Beyond a kilometre from the origin nothing is a piece of paper, and places blur. [mm]"""


def distinct(points_mm: FloatArray) -> FloatArray:
    """Return the vertices of a closed line without those that repeat the one before. [mm]"""
    if len(points_mm) < 2:
        return points_mm
    step = points_mm - np.roll(points_mm, 1, axis=0)
    keep = np.hypot(*step.T) > SHORTEST_SEGMENT_MM
    return np.asarray(points_mm[keep])


def polygon_of(points_mm: FloatArray) -> shapely.Polygon:
    """Area bounded by a closed line.

    Parameters
    ----------
    points_mm : ndarray, shape (n, 2)
        Vertices in order, either way round; the first may be repeated at the end. [mm]

    Returns
    -------
    shapely.Polygon
        Without holes, its area above 0. [mm]

    Raises
    ------
    Refused
        ``outline_invalid`` unless the line is simple: it neither crosses nor touches itself.
    """
    if len(points_mm) < 3 or np.abs(points_mm).max() > FARTHEST_MM:
        raise Refused("outline_invalid")
    vertices_mm = distinct(points_mm)
    if len(vertices_mm) < 3:
        raise Refused("outline_invalid")
    polygon = shapely.Polygon(vertices_mm)
    if not polygon.is_valid or polygon.area <= 0:
        raise Refused("outline_invalid")
    return polygon


class ClosedLine:
    """A closed line with fast look-up of its nearest point.

    Parameters
    ----------
    points_mm : ndarray, shape (n, 2)
        At least two different vertices; repeated ones are dropped. [mm]

    Examples
    --------
    >>> line = ClosedLine(np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0]]))
    >>> line.length_mm
    16.0
    >>> line.distance_mm(np.array([[2.0, 1.0], [9.0, 2.0]])).tolist()
    [1.0, 5.0]
    """

    def __init__(self, points_mm: FloatArray) -> None:
        self.points_mm = distinct(points_mm)
        self.vector_mm = np.roll(self.points_mm, -1, axis=0) - self.points_mm
        self.piece_mm = np.hypot(*self.vector_mm.T)
        self.s_mm = np.concatenate([[0.0], np.cumsum(self.piece_mm)])

    @property
    def length_mm(self) -> float:
        """Length all round. [mm]"""
        return float(self.s_mm[-1])

    @cached_property
    def _tree(self) -> shapely.STRtree:
        ends_mm = np.stack([self.points_mm, self.points_mm + self.vector_mm], axis=1)
        return shapely.STRtree(np.atleast_1d(np.asarray(shapely.linestrings(ends_mm))))

    def nearest(self, xy_mm: FloatArray) -> tuple[FloatArray, IntArray, FloatArray]:
        """Nearest point of the line to each of some points.

        Parameters
        ----------
        xy_mm : ndarray, shape (k, 2)
            Points. [mm]

        Returns
        -------
        foot_mm : ndarray, shape (k, 2)
            Where the nearest points are. [mm]
        piece : ndarray, shape (k,)
            Straight piece on which each lies. [1]
        share : ndarray, shape (k,)
            How far along that piece, 0..1. [1]
        """
        found = self._tree.query_nearest(shapely.points(xy_mm), all_matches=False)
        piece = np.empty(len(xy_mm), dtype=np.int64)
        piece[found[0]] = found[1]
        start_mm, vector_mm = self.points_mm[piece], self.vector_mm[piece]
        along = np.einsum("nc,nc->n", xy_mm - start_mm, vector_mm) / self.piece_mm[piece] ** 2
        share = np.clip(along, 0.0, 1.0)
        return start_mm + share[:, None] * vector_mm, piece, share

    def distance_mm(self, xy_mm: FloatArray) -> FloatArray:
        """Return the distance of points from the line, shape (k,). [mm]"""
        foot_mm, _, _ = self.nearest(xy_mm)
        return np.asarray(np.hypot(*(xy_mm - foot_mm).T))

    def at(self, s_mm: FloatArray) -> FloatArray:
        """Return the points at lengths from the first vertex, modulo the length. [mm]"""
        s = np.mod(s_mm, self.length_mm)
        ring_mm = np.vstack([self.points_mm, self.points_mm[:1]])
        return np.column_stack([np.interp(s, self.s_mm, column) for column in ring_mm.T])

    def cells(self, count: int) -> tuple[FloatArray, FloatArray]:
        """Cut every straight piece into equal cells.

        Parameters
        ----------
        count : int
            No cell is longer than the length of the line divided by this. [1]

        Returns
        -------
        first_mm : ndarray, shape (m, 2)
            Where each cell begins; it ends where the next one begins. All vertices are
            among them; at most `count` plus the number of vertices. [mm]
        length_mm : ndarray, shape (m,)
            Length of each cell. [mm]
        """
        # The margin keeps a whole number of cells whole whichever way the piece is turned.
        parts = np.ceil(self.piece_mm * (count / self.length_mm) - 1e-6)
        parts = np.maximum(parts, 1).astype(np.int64)
        piece = np.repeat(np.arange(len(parts)), parts)
        number = np.arange(len(piece)) - np.repeat(np.cumsum(parts) - parts, parts)
        share = number / parts[piece]
        first_mm = self.points_mm[piece] + share[:, None] * self.vector_mm[piece]
        return first_mm, self.piece_mm[piece] / parts[piece]

    def samples(self, count: int) -> tuple[FloatArray, FloatArray]:
        """Points spread along the line, each standing for the length around it.

        Parameters
        ----------
        count : int
            Wanted number of points; at most twice as many are returned. [1]

        Returns
        -------
        xy_mm : ndarray, shape (m, 2)
            Middles of the `cells` where the line has no more than `count` vertices: then
            the points depend neither on the first vertex nor on the direction. Otherwise
            `count` points at equal distances. [mm]
        weight : ndarray, shape (m,)
            Share of the length each stands for; they sum to 1. [1]
        """
        if len(self.points_mm) > count:
            s_mm = (np.arange(count) + 0.5) * self.length_mm / count
            return self.at(s_mm), np.full(count, 1.0 / count)
        first_mm, length_mm = self.cells(count)
        middle_mm = (first_mm + np.roll(first_mm, -1, axis=0)) / 2
        return middle_mm, length_mm / length_mm.sum()
