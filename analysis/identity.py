"""Ids by which equal guides are recognised, wherever they are placed."""

import hashlib
import json
import math
from typing import Any

from analysis.guide import Guide, Part
from analysis.trace import FloatArray

HEX_DIGITS = 20


def _hundredths(value_mm: float) -> int:
    # Rounding to 6 decimals first keeps 0.285 from falling on the wrong side of the half.
    return math.floor(round(100.0 * value_mm, 6) + 0.5)


def _corridor_key(part: Part) -> Any:
    if part.corridor_mm is None:
        return None
    widths = [_hundredths(float(width_mm)) for width_mm in part.corridor_mm]
    return widths[0] if len(set(widths)) == 1 else widths


def _part_key(part: Part, origin_mm: FloatArray, *, corridor: bool) -> list[Any]:
    points = [[_hundredths(float(v)) for v in point - origin_mm] for point in part.points_mm]
    return [points, part.closed, _corridor_key(part) if corridor else None]


def _line_key(guide: Guide, *, corridor: bool) -> str:
    origin_mm = guide.parts[0].points_mm[0]
    parts = [_part_key(part, origin_mm, corridor=corridor) for part in guide.parts]
    return json.dumps(parts, separators=(",", ":"), ensure_ascii=True)


def _target_key(guide: Guide, *, radius: bool) -> str:
    first = guide.targets[0]
    dots = [
        [
            _hundredths(dot.x_mm - first.x_mm),
            _hundredths(dot.y_mm - first.y_mm),
            _hundredths(dot.radius_mm) if radius else None,
        ]
        for dot in guide.targets
    ]
    return json.dumps(dots, separators=(",", ":"), ensure_ascii=True)


def _id(prefix: str, key: str) -> str:
    digest = hashlib.sha256(key.encode("ascii")).hexdigest()
    return f"{prefix}-{digest[:HEX_DIGITS]}"


def _key(guide: Guide, *, width: bool) -> str:
    # One dot beside a line is a place to hold on to: the line is what is followed.
    if guide.targets and not (guide.parts and len(guide.targets) == 1):
        return _target_key(guide, radius=width)
    return min(
        _line_key(guide, corridor=width),
        _line_key(guide.reversed(), corridor=width),
    )


def guide_id(guide: Guide) -> str:
    """Id of a guide with its corridor, the same for both directions and any placement.

    Parameters
    ----------
    guide : Guide
        The guide. Its points are taken relative to the first one, in whole hundredths
        of a millimetre.

    Returns
    -------
    str
        ``g1-`` and 20 hex digits.

    Examples
    --------
    >>> here = Guide.from_points([[0, 0], [180, 0]], corridor_mm=12)
    >>> there = Guide.from_points([[200, 50], [20, 50]], corridor_mm=[12, 12])
    >>> guide_id(here) == guide_id(there)
    True
    """
    return _id("g1", _key(guide, width=True))


def path_id(guide: Guide) -> str:
    """Id of a guide without its corridor: equal for the same path at another width.

    Parameters
    ----------
    guide : Guide
        The guide.

    Returns
    -------
    str
        ``p1-`` and 20 hex digits.

    Examples
    --------
    >>> wide = Guide.from_points([[0, 0], [180, 0]], corridor_mm=24)
    >>> narrow = Guide.from_points([[0, 0], [180, 0]], corridor_mm=6)
    >>> path_id(wide) == path_id(narrow)
    True
    """
    return _id("p1", _key(guide, width=False))
