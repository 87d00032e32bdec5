"""Shapes that make guides: vertices in millimetres, y down, ready to store.

A shape given here lies with its bounding box at (0, 0), keeps every corner as a vertex,
and is flat within 0.02 mm of the true curve, snapping to whole hundredths included.
Closed shapes do not repeat their first vertex. The first vertex is where drawing starts.

A new shape is either a list of corners or a curve handed to
`analysis.flattening.flattened`; both end in `settled`, which moves them to the origin
and snaps them.
"""

import numpy as np

from analysis.errors import BadGuide
from analysis.flattening import Curve, check_count, check_positive, flattened, settled
from analysis.shapes_winding import hairpin, letter_loops, random_smooth, spiral
from analysis.trace import FloatArray

__all__ = [
    "arc",
    "circle",
    "figure_eight",
    "hairpin",
    "half_ellipse",
    "letter_loops",
    "line",
    "nested_rectangles",
    "random_smooth",
    "rectangle",
    "sine",
    "spiral",
    "square",
    "zigzag",
]


def _ring(curve: Curve, first: float, last: float) -> FloatArray:
    return settled(flattened(curve, first, last, multiple=4)[:-1])


def line(dx_mm: float, dy_mm: float = 0.0) -> FloatArray:
    """Straight line; a negative `dy_mm` rises.

    Parameters
    ----------
    dx_mm, dy_mm : float
        From first to last point. [mm]

    Returns
    -------
    ndarray, shape (2, 2)
        Vertices. [mm]

    Examples
    --------
    >>> line(150, -90)
    array([[  0.,  90.],
           [150.,   0.]])
    """
    check_positive(length_mm=float(np.hypot(dx_mm, dy_mm)))
    return settled([[0.0, 0.0], [dx_mm, dy_mm]])


def half_ellipse(width_mm: float, height_mm: float) -> FloatArray:
    """Bridge from left to right: the upper half of an ellipse.

    Parameters
    ----------
    width_mm : float
        From foot to foot. [mm]
    height_mm : float
        From foot to top. [mm]

    Returns
    -------
    ndarray, shape (n, 2)
        Vertices. [mm]
    """
    check_positive(width_mm=width_mm, height_mm=height_mm)

    def curve(u: FloatArray) -> FloatArray:
        return np.column_stack([-0.5 * width_mm * np.cos(u), -height_mm * np.sin(u)])

    return settled(flattened(curve, 0.0, np.pi, multiple=2))


def arc(radius_mm: float, length_mm: float) -> FloatArray:
    """Arc of a circle that hangs from left to right between two level ends.

    Parameters
    ----------
    radius_mm : float
        Radius. [mm]
    length_mm : float
        Along the arc, at most half the circle. [mm]

    Returns
    -------
    ndarray, shape (n, 2)
        Vertices. [mm]
    """
    check_positive(radius_mm=radius_mm, length_mm=length_mm)
    half = 0.5 * length_mm / radius_mm
    if half > 0.5 * np.pi:
        raise BadGuide(f"length_mm must be at most {np.pi * radius_mm:.2f}, got {length_mm}")

    def curve(u: FloatArray) -> FloatArray:
        return radius_mm * np.column_stack([np.sin(u), np.cos(u)])

    return settled(flattened(curve, -half, half, multiple=2))


def sine(length_mm: float, amplitude_mm: float, waves: float) -> FloatArray:
    """Wave from left to right that first rises.

    Parameters
    ----------
    length_mm : float
        Along the wave's axis. [mm]
    amplitude_mm : float
        From the axis to a crest. [mm]
    waves : float
        Number of whole periods. [1]

    Returns
    -------
    ndarray, shape (n, 2)
        Vertices. [mm]
    """
    check_positive(length_mm=length_mm, amplitude_mm=amplitude_mm, waves=waves)

    def curve(u: FloatArray) -> FloatArray:
        return np.column_stack([length_mm * u, -amplitude_mm * np.sin(2 * np.pi * waves * u)])

    return settled(flattened(curve, 0.0, 1.0))


def circle(radius_mm: float) -> FloatArray:
    """Circle from its top, clockwise (closed).

    Parameters
    ----------
    radius_mm : float
        Radius. [mm]

    Returns
    -------
    ndarray, shape (n, 2)
        Vertices. [mm]
    """
    check_positive(radius_mm=radius_mm)

    def curve(u: FloatArray) -> FloatArray:
        return radius_mm * np.column_stack([np.sin(u), -np.cos(u)])

    return _ring(curve, 0.0, 2 * np.pi)


def rectangle(width_mm: float, height_mm: float) -> FloatArray:
    """Rectangle from its upper left corner, clockwise (closed).

    Parameters
    ----------
    width_mm, height_mm : float
        Sides. [mm]

    Returns
    -------
    ndarray, shape (4, 2)
        Corners. [mm]
    """
    check_positive(width_mm=width_mm, height_mm=height_mm)
    return settled([[0.0, 0.0], [width_mm, 0.0], [width_mm, height_mm], [0.0, height_mm]])


def square(side_mm: float) -> FloatArray:
    """Square from its upper left corner, clockwise (closed).

    Parameters
    ----------
    side_mm : float
        Side. [mm]

    Returns
    -------
    ndarray, shape (4, 2)
        Corners. [mm]
    """
    return rectangle(side_mm, side_mm)


def nested_rectangles(
    width_mm: float, height_mm: float, *, inset_mm: float, count: int
) -> tuple[FloatArray, ...]:
    """Rectangles one inside the other, outermost first: parts of one guide (each closed).

    Parameters
    ----------
    width_mm, height_mm : float
        Sides of the outermost one. [mm]
    inset_mm : float
        Distance from each rectangle to the next. [mm]
    count : int
        How many. [1]

    Returns
    -------
    tuple of ndarray, shape (4, 2)
        Corners of each, in one coordinate system. [mm]
    """
    check_count("count", count, 1)
    check_positive(inset_mm=inset_mm)
    if min(width_mm, height_mm) <= 2 * inset_mm * (count - 1):
        raise BadGuide(f"{count} rectangles {inset_mm} mm apart do not fit into one another")
    outlines = []
    for k in range(count):
        inner = rectangle(width_mm - 2 * k * inset_mm, height_mm - 2 * k * inset_mm)
        outlines.append(settled(inner + k * inset_mm, origin_mm=(0.0, 0.0)))
    return tuple(outlines)


def zigzag(step_mm: float, height_mm: float, diagonals: int) -> FloatArray:
    """Diagonals from left to right, the first one rising.

    Parameters
    ----------
    step_mm, height_mm : float
        Width and height of one diagonal. [mm]
    diagonals : int
        How many. [1]

    Returns
    -------
    ndarray, shape (diagonals + 1, 2)
        Corners. [mm]
    """
    check_count("diagonals", diagonals, 1)
    check_positive(step_mm=step_mm, height_mm=height_mm)
    k = np.arange(diagonals + 1)
    return settled(np.column_stack([step_mm * k, -height_mm * (k % 2)]))


def figure_eight(width_mm: float, height_mm: float) -> FloatArray:
    """Lying eight from its leftmost point, upwards first (closed, crosses itself once).

    The left loop is gone round clockwise, the right one anticlockwise.

    Parameters
    ----------
    width_mm, height_mm : float
        Bounding box; the curve is x = w/2 sin u, y = h/2 sin 2u. [mm]

    Returns
    -------
    ndarray, shape (n, 2)
        Vertices. [mm]
    """
    check_positive(width_mm=width_mm, height_mm=height_mm)

    def curve(u: FloatArray) -> FloatArray:
        return 0.5 * np.column_stack([width_mm * np.sin(u), height_mm * np.sin(2 * u)])

    return _ring(curve, -0.5 * np.pi, 1.5 * np.pi)
