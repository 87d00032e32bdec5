"""Laying an outline on its template by shift and turn alone, never by scale or reflection."""

from dataclasses import dataclass

import numpy as np

from analysis.outline import ClosedLine
from analysis.trace import BoolArray, FloatArray

SAMPLES = 400
"""Points of the outline that take part in the searches for the best fit. [1]"""
FINE_SAMPLES = 4096
"""Points that take part in the last steps, so that it hardly matters where they lie. [1]"""
STARTS_DEG = (0.0, 90.0, 180.0, 270.0)
"""Turns about the centroid from which the best fit sets out. [deg]"""
SCREENED_TURNS = 36
"""Turns tried out roughly, to set out from the best of them as well. [1]"""
SCREENED_POINTS = 100
"""Points of the outline that take part in trying out. [1]"""
SCREENED_STARTS = 4
"""How many of them are followed. [1]"""
MOST_STEPS = 60
"""Steps of one search; a search that still moves then is used as it stands. [1]"""
STOP_MM2 = 1e-10
"""A search ends when the mean square falls by less. [mm2]"""
EQUAL_RMS_MM = 1e-4
"""Fits that differ by less are the same fit of a symmetric shape. [mm]"""
EQUAL_TURN_DEG = 1.0
"""Of equal fits turned alike the closest one is kept. [deg]"""
LEAST_HOLD = 1e-3
"""A direction held less than this is taken as held this much; a shift is held by 0.5. [1]"""


@dataclass(frozen=True, eq=False)
class Rigid:
    """A turn followed by a shift.

    Parameters
    ----------
    turn_rad : float
        About the origin; with y down, positive is clockwise on the page. [rad]
    shift_mm : ndarray, shape (2,)
        Added after the turn. [mm]

    Examples
    --------
    >>> Rigid(np.pi / 2, np.array([1.0, 0.0])).applied(np.array([[2.0, 0.0]])).round(9).tolist()
    [[1.0, 2.0]]
    """

    turn_rad: float
    shift_mm: FloatArray

    @property
    def matrix(self) -> FloatArray:
        """The turn as a matrix for row vectors, shape (2, 2). [1]"""
        cos, sin = np.cos(self.turn_rad), np.sin(self.turn_rad)
        return np.array([[cos, sin], [-sin, cos]])

    def applied(self, xy_mm: FloatArray) -> FloatArray:
        """Return points turned and shifted, shape (n, 2). [mm]"""
        return np.asarray(xy_mm @ self.matrix + self.shift_mm)

    @property
    def turn_deg(self) -> float:
        """The turn within -180 (excluded) to 180. [deg]"""
        turn = float(np.degrees(np.arctan2(np.sin(self.turn_rad), np.cos(self.turn_rad))))
        return 180.0 if turn == -180.0 else turn


@dataclass(frozen=True, eq=False)
class Fit:
    """Where points are laid.

    Parameters
    ----------
    rigid : Rigid
        From the outline's coordinates to the template's.
    rms_mm : float
        Root mean square distance that is left. [mm]
    steps : int
        Steps of the search that found it; 0 where it is computed directly. [1]
    """

    rigid: Rigid
    rms_mm: float
    steps: int = 0


def turned_about(turn_rad: float, from_mm: FloatArray, to_mm: FloatArray) -> Rigid:
    """Return the motion that turns about one point and carries it to another."""
    turn = Rigid(turn_rad, np.zeros(2))
    return Rigid(turn_rad, to_mm - turn.applied(from_mm[None])[0])


def rigid_fit(from_mm: FloatArray, to_mm: FloatArray, weight: FloatArray | None = None) -> Rigid:
    """Rigid motion with the least weighted sum of squared distances between pairs.

    Parameters
    ----------
    from_mm, to_mm : ndarray, shape (n, 2)
        Pairs of points, at least one. [mm]
    weight : ndarray, shape (n,), or None
        Weight of each pair; None: all equal. [1]

    Returns
    -------
    Rigid
        Without scale or reflection.

    Notes
    -----
    In the plane the orthogonal factor has a closed form: with both sets about their
    weighted means, the turn is atan2(Σ w (a × b), Σ w (a · b)).

    References
    ----------
    Kabsch W 1976, Acta Crystallographica A32:922; Schönemann P 1966, Psychometrika 31:1
    (from memory).

    Examples
    --------
    >>> corner = np.array([[0.0, 0.0], [3.0, 0.0], [0.0, 1.0]])
    >>> found = rigid_fit(corner, Rigid(0.5, np.array([7.0, -2.0])).applied(corner))
    >>> round(found.turn_rad, 9), found.shift_mm.round(9).tolist()
    (0.5, [7.0, -2.0])
    """
    w = np.full(len(from_mm), 1.0 / len(from_mm)) if weight is None else weight / weight.sum()
    mean_from, mean_to = w @ from_mm, w @ to_mm
    a, b = from_mm - mean_from, to_mm - mean_to
    dot = float(w @ np.einsum("nc,nc->n", a, b))
    cross = float(w @ (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]))
    return turned_about(float(np.arctan2(cross, dot)), mean_from, mean_to)


def marks_fit(seen_mm: FloatArray, printed_mm: FloatArray) -> Fit:
    """Lay by registration marks: what the child shifted or turned stays visible.

    Parameters
    ----------
    seen_mm, printed_mm : ndarray, shape (k, 2)
        Pairs of marks, at least two in different places. [mm]

    Returns
    -------
    Fit
        Its root mean square is that of the marks.
    """
    rigid = rigid_fit(seen_mm, printed_mm)
    left_mm = rigid.applied(seen_mm) - printed_mm
    return Fit(rigid, float(np.sqrt((left_mm**2).sum(axis=1).mean())))


@dataclass(frozen=True, eq=False)
class _Laid:
    """Points as laid: mean square [mm2], places, what leads to them from their feet [mm].

    `normal` is across the template piece of each foot; `loose` says that the foot is a
    vertex, about which the point may swing.
    """

    rigid: Rigid
    square_mm2: float
    at_mm: FloatArray
    away_mm: FloatArray
    normal: FloatArray
    loose: BoolArray


class _Search:
    """Closest points of one outline on one template line, again and again."""

    def __init__(self, line: ClosedLine, xy_mm: FloatArray, weight: FloatArray) -> None:
        self.line = line
        self.xy_mm = xy_mm
        self.weight = weight

    def _laid(self, rigid: Rigid) -> _Laid:
        at_mm = rigid.applied(self.xy_mm)
        foot_mm, piece, share = self.line.nearest(at_mm)
        along = self.line.vector_mm[piece] / self.line.piece_mm[piece][:, None]
        away_mm = at_mm - foot_mm
        square_mm2 = float(self.weight @ (away_mm**2).sum(axis=1))
        normal = np.column_stack([-along[:, 1], along[:, 0]])
        loose = (share <= 0) | (share >= 1)
        return _Laid(rigid, square_mm2, at_mm, away_mm, normal, loose)

    def _newton(self, laid: _Laid, least_hold: float) -> Rigid:
        """Step to the lowest point of the parabola that the mean square looks like here."""
        w = self.weight
        middle_mm = w @ laid.at_mm
        arm_mm = laid.at_mm - middle_mm
        reach_mm = float(np.sqrt(w @ (arm_mm**2).sum(axis=1)))
        # Columns: how a point moves with a shift along x, along y, and with the turn.
        moves = np.zeros((len(w), 2, 3))
        moves[:, 0, 0] = moves[:, 1, 1] = 1.0
        moves[:, 0, 2], moves[:, 1, 2] = -arm_mm[:, 1] / reach_mm, arm_mm[:, 0] / reach_mm
        slope = np.einsum("n,nc,ncp->p", w, laid.away_mm, moves)
        across = np.einsum("nc,ncp->np", laid.normal, moves)
        hold = across.T @ (w[:, None] * across)
        swinging, weight = moves[laid.loose], w[laid.loose]
        tangent = across[laid.loose]
        hold += np.einsum("n,ncp,ncq->pq", weight, swinging, swinging)
        hold -= tangent.T @ (weight[:, None] * tangent)
        hold[2, 2] -= float(w @ (laid.away_mm * arm_mm).sum(axis=1)) / reach_mm**2
        size, direction = np.linalg.eigh(hold)
        # Downhill on saddles too; what hardly holds, like the turn on a circle, hardly moves.
        step = -direction @ ((direction.T @ slope) / np.maximum(np.abs(size), least_hold))
        more = turned_about(float(step[2]) / reach_mm, middle_mm, middle_mm + step[:2])
        return _joined(laid.rigid, more)

    def followed(self, rigid: Rigid) -> Fit:
        """Return where the search from one start ends."""
        laid = self._laid(rigid)
        step, hold = 0, LEAST_HOLD
        while step < MOST_STEPS:
            step += 1
            tried = self._laid(self._newton(laid, hold))
            hold = max(LEAST_HOLD, hold / 10)
            if tried.square_mm2 >= laid.square_mm2:
                hold *= 100
                feet_mm = laid.at_mm - laid.away_mm
                tried = self._laid(rigid_fit(self.xy_mm, feet_mm, self.weight))
            fallen_mm2 = laid.square_mm2 - tried.square_mm2
            if fallen_mm2 > 0:
                laid = tried
            if fallen_mm2 < STOP_MM2:
                break
        return Fit(laid.rigid, float(np.sqrt(laid.square_mm2)), step)


def _joined(first: Rigid, second: Rigid) -> Rigid:
    return Rigid(first.turn_rad + second.turn_rad, second.applied(first.shift_mm[None])[0])


def _screened_turns_rad(
    template: ClosedLine, xy_mm: FloatArray, from_mm: FloatArray, to_mm: FloatArray
) -> list[float]:
    """Turns at which the mean square, tried out all round, has its lowest valleys. [rad]"""
    few_mm = xy_mm[:: max(1, len(xy_mm) // SCREENED_POINTS)]
    turns_rad = np.arange(SCREENED_TURNS) * (2 * np.pi / SCREENED_TURNS)
    laid = [turned_about(turn, from_mm, to_mm).applied(few_mm) for turn in turns_rad]
    square = template.distance_mm(np.vstack(laid)) ** 2
    mean = square.reshape(SCREENED_TURNS, -1).mean(axis=1)
    valleys = np.flatnonzero((mean <= np.roll(mean, 1)) & (mean < np.roll(mean, -1)))
    lowest = valleys[np.argsort(mean[valleys], kind="stable")][:SCREENED_STARTS]
    return [float(turn) for turn in turns_rad[lowest]]


def best_fit(
    outline: ClosedLine, template: ClosedLine, from_mm: FloatArray, to_mm: FloatArray
) -> Fit:
    """Lay an outline where its root mean square distance from the template is least.

    Parameters
    ----------
    outline, template : ClosedLine
        The edge to be laid, and the line it is laid on.
    from_mm, to_mm : ndarray, shape (2,)
        Centroids of their areas: each search starts with one on the other. [mm]

    Returns
    -------
    Fit
        The best of all searches; among equally good ones, that with the smallest turn, so
        that an unturned square is not called turned. Its root mean square is that of about
        4000 points weighted by the length of edge each stands for.

    Notes
    -----
    Iterated closest points, the closest points being those of the exact template line. A
    step is Newton's on the distances to the line rather than to its present feet (as Chen &
    Medioni move along normals), which ends within a few steps; if that does not lower the
    mean square, it goes to the present closest points (Besl & McKay, Kabsch), which never
    raises it. Four starts alone stop on a saddle when a square
    is turned by 45°, and miss the fit of many-pointed shapes; so the lowest valleys of a
    rough trial every 10° are followed as well.

    **It hides what it removes**: where on the sheet, and how far turned, the child cut.

    References
    ----------
    Besl P & McKay N 1992, IEEE Trans Pattern Anal Mach Intell 14:239; Chen Y & Medioni G
    1992, Image Vis Comput 10:145 (from memory).
    """
    xy_mm, weight = outline.samples(SAMPLES)
    search = _Search(template, xy_mm, weight)
    turns_rad = [float(turn) for turn in np.radians(STARTS_DEG)]
    turns_rad += _screened_turns_rad(template, xy_mm, from_mm, to_mm)
    found = [search.followed(turned_about(turn, from_mm, to_mm)) for turn in turns_rad]
    least_mm = min(fit.rms_mm for fit in found)
    equal = [fit for fit in found if fit.rms_mm <= least_mm + EQUAL_RMS_MM]
    turn_deg = min((fit.rigid.turn_deg for fit in equal), key=abs)
    alike = [fit for fit in equal if abs(fit.rigid.turn_deg - turn_deg) <= EQUAL_TURN_DEG]
    nearest = min(alike, key=lambda fit: fit.rms_mm)
    last = _Search(template, *outline.samples(FINE_SAMPLES)).followed(nearest.rigid)
    return Fit(last.rigid, last.rms_mm, nearest.steps + last.steps)
