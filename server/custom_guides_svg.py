"""The path data of a drawing (SVG's ``d``) as polylines in millimetres: bounded work."""

import re
from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np
from svg.path import Arc, Close, CubicBezier, Move, QuadraticBezier, parse_path
from svg.path.path import Path, PathSegment

from analysis.trace import FloatArray
from server.faults import BadDocument, Fault
from server.fields import MAX_PARTS, MAX_POINTS

MAX_LETTERS = 20_000
LARGEST_NUMBER = 1e6
# With the snapping of a vertex, at most 0.0071 mm, a curve is kept within 0.02 mm.
CHORD_MM = 0.011

SVG_PATH = "/svg_path"
NOT_A_PATH = (
    "This must be the path data of a drawing: commands M L H V C S Q T A Z and their numbers, "
    "beginning with M."
)
TOO_LONG = f"Path data may have at most {MAX_LETTERS} characters."
TOO_LARGE = f"No number in the path data may be larger than {LARGEST_NUMBER:g}."
BAD_ARC = "An arc of the path has a radius too small to be drawn."
NOTHING_DRAWN = "The path draws nothing."
TOO_MANY_POINTS = f"The path needs more than {MAX_POINTS} points to be drawn finely enough."
TOO_MANY_PARTS = f"The path may have at most {MAX_PARTS} separate lines."

_SPACE = r"[ \t\r\n]*+"
_BETWEEN = _SPACE + ",?" + _SPACE
# Atomic groups: a number is as long as it can be, so that 12 is never read as 1 and 2.
_SIZE = r"(\+?(?>[0-9]++\.?+[0-9]*+|\.[0-9]++)(?>[eE][-+]?[0-9]++)?+)"
_NUMBER = _SIZE.replace(r"\+?", "[-+]?+", 1)
_FLAG = "([01])"
# What each command takes, any number of times.
_SETS = {
    letter: re.compile(_BETWEEN.join(kinds))
    for letter, kinds in {
        "M": [_NUMBER] * 2,
        "L": [_NUMBER] * 2,
        "H": [_NUMBER],
        "V": [_NUMBER],
        "C": [_NUMBER] * 6,
        "S": [_NUMBER] * 4,
        "Q": [_NUMBER] * 4,
        "T": [_NUMBER] * 2,
        "A": [_SIZE, _SIZE, _NUMBER, _FLAG, _FLAG, _NUMBER, _NUMBER],
    }.items()
}
_COMMAND = re.compile(_SPACE + "([MmZzLlHhVvCcSsQqTtAa])" + _SPACE)
_SEPARATOR = re.compile(_BETWEEN)


class Line(NamedTuple):
    """One polyline of a drawing: vertices [mm], and whether it returns to the first."""

    points_mm: FloatArray
    closed: bool


class _Curve(NamedTuple):
    """A curve over 0 to 1: its points [mm], and the chords it needs."""

    at: Callable[[FloatArray], FloatArray]
    chords: int


def _refused(detail: str, *, status: int = 422) -> BadDocument:
    return BadDocument([Fault(SVG_PATH, detail)], status=status)


def _end_of_sets(text: str, at: int, one: re.Pattern[str]) -> int:
    """Where the numbers of a command end that begin at `at`: one whole set at least."""
    found = one.match(text, at)
    if found is None:
        raise _refused(NOT_A_PATH)
    while found is not None:
        if any(abs(float(number)) > LARGEST_NUMBER for number in found.groups()):
            raise _refused(TOO_LARGE)
        at = found.end()
        between = _SEPARATOR.match(text, at)
        found = one.match(text, between.end() if between else at)
    return at


def _check_grammar(text: str) -> None:
    """Refuse all but whole commands: the library would leave out the rest without a word."""
    if len(text) > MAX_LETTERS:
        raise _refused(TOO_LONG, status=413)
    if not text.strip():
        raise _refused(NOTHING_DRAWN)
    at, end, moved = 0, len(text.rstrip(" \t\r\n")), False
    while at < end:
        command = _COMMAND.match(text, at)
        letter = "" if command is None else command.group(1).upper()
        if command is None or not (moved or letter == "M"):
            raise _refused(NOT_A_PATH)
        moved, at = True, command.end()
        if letter != "Z":
            at = _end_of_sets(text, at, _SETS[letter])


def _parsed(text: str) -> Path:
    _check_grammar(text)
    try:
        return parse_path(text)
    # The grammar is sound: what is left is an arc whose radii leave nothing to divide by.
    except (ValueError, ArithmeticError):
        raise _refused(BAD_ARC) from None


def _pairs(values: FloatArray) -> FloatArray:
    return np.column_stack([values.real, values.imag])


def _bezier(controls: list[complex]) -> _Curve:
    """Curve of a number of control points [mm]; three or four of them, or two for a line.

    Notes
    -----
    A chord over h of the parameter leaves its curve by at most h**2 / 8 times the largest
    second derivative, and that of a Bezier curve of degree n is n (n - 1) times the largest
    second difference of its control points.
    """
    degree = len(controls) - 1
    points = np.array(controls)
    bend_mm = float(np.abs(np.diff(points, n=2)).max(initial=0.0)) * degree * (degree - 1)

    def at(u: FloatArray) -> FloatArray:
        rows = np.repeat(points[:, None], len(u), axis=1)
        while len(rows) > 1:
            rows = (1.0 - u) * rows[:-1] + u * rows[1:]
        return _pairs(rows[0])

    return _Curve(at, _chords(bend_mm))


def _arc(arc: Arc, mm_per_unit: float) -> _Curve:
    """Curve of an elliptical arc; its second derivative is at most turn**2 times a radius."""
    first, turn = np.radians(arc.theta), np.radians(arc.delta)
    lean = np.exp(1j * np.radians(arc.rotation))
    across, along = arc.radius.real * arc.radius_scale, arc.radius.imag * arc.radius_scale

    def at(u: FloatArray) -> FloatArray:
        angle = first + turn * u
        round_centre = lean * (across * np.cos(angle) + 1j * along * np.sin(angle))
        return _pairs(mm_per_unit * (arc.center + round_centre))

    return _Curve(at, _chords(float(turn**2 * mm_per_unit * max(across, along))))


def _chords(bend_mm: float) -> int:
    count = np.sqrt(bend_mm / (8.0 * CHORD_MM))
    # More than all points together are as bad as twice as many.
    return int(min(max(1.0, np.ceil(count)), MAX_POINTS + 1.0))


def _curve(segment: PathSegment, mm_per_unit: float) -> _Curve:
    if isinstance(segment, Arc) and hasattr(segment, "center"):
        return _arc(segment, mm_per_unit)
    controls = [segment.start, segment.end]
    if isinstance(segment, CubicBezier):
        controls = [segment.start, segment.control1, segment.control2, segment.end]
    elif isinstance(segment, QuadraticBezier):
        controls = [segment.start, segment.control, segment.end]
    # An arc without a radius, or to where it starts, is a straight line.
    return _bezier([mm_per_unit * control for control in controls])


def _subpaths(path: Path) -> Iterator[list[PathSegment]]:
    """Yield what is drawn between two moves, or up to a return to the start."""
    drawn: list[PathSegment] = []
    for segment in path:
        if not isinstance(segment, Move):
            drawn.append(segment)
        if drawn and isinstance(segment, Move | Close):
            yield drawn
            drawn = []
    if drawn:
        yield drawn


def _points(curves: list[_Curve], segments: list[PathSegment], mm_per_unit: float) -> FloatArray:
    pieces = []
    for curve, segment in zip(curves, segments, strict=True):
        piece = curve.at(np.linspace(0.0, 1.0, curve.chords + 1))
        # Both ends are known exactly; those of an arc come out of sines.
        piece[[0, -1]] = _pairs(mm_per_unit * np.array([segment.start, segment.end]))
        pieces.append(piece)
    return np.vstack(pieces)


def lines_of_svg(text: str, mm_per_unit: float) -> list[Line]:
    """Return the lines that path data draws, flat enough and in mm.

    Parameters
    ----------
    text : str
        Path data: moves, lines, cubic and quadratic curves, arcs and closes, absolute or
        relative.
    mm_per_unit : float
        Length of one unit of the drawing, above 0. [mm]

    Returns
    -------
    list of Line
        One for each separate line, in the order drawn; no chord leaves its curve by more
        than 0.011 mm. Not moved, not snapped.

    Raises
    ------
    BadDocument
        If this is no path data, draws nothing, or would need too many points. Numbers and
        lengths are bounded before anything is computed.

    Examples
    --------
    >>> [line] = lines_of_svg("M 0 0 h 20 v 10 z", 2.0)
    >>> line.points_mm.tolist(), line.closed
    ([[0.0, 0.0], [40.0, 0.0], [40.0, 20.0], [0.0, 0.0]], True)
    """
    subpaths = list(_subpaths(_parsed(text)))
    if not subpaths:
        raise _refused(NOTHING_DRAWN)
    if len(subpaths) > MAX_PARTS:
        raise _refused(TOO_MANY_PARTS, status=413)
    curves = [[_curve(segment, mm_per_unit) for segment in drawn] for drawn in subpaths]
    if sum(curve.chords + 1 for own in curves for curve in own) > MAX_POINTS:
        raise _refused(TOO_MANY_POINTS, status=413)
    lines = []
    for own, drawn in zip(curves, subpaths, strict=True):
        points_mm = _points(own, drawn, mm_per_unit)
        again = np.all(np.diff(points_mm, axis=0) == 0.0, axis=1)
        points_mm = points_mm[~np.concatenate([[False], again])]
        lines.append(Line(points_mm, isinstance(drawn[-1], Close)))
    return lines
