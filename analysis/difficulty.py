"""How hard a guide is, whoever draws on it: the steering law of Accot & Zhai 1997."""

import numpy as np

from analysis.guide import Guide
from analysis.value import Refused


def steering_index(guide: Guide) -> float:
    """Steering index of difficulty, ∫ ds / W(s) (Accot & Zhai 1997).

    Parameters
    ----------
    guide : Guide
        With a corridor of full width W, linear between vertices.

    Returns
    -------
    float
        Exact integral. It ignores curvature. [1]

    Raises
    ------
    Refused
        ``guide_lacks_feature`` without a corridor.

    Examples
    --------
    >>> steering_index(Guide.from_points([[0, 0], [100, 0]], corridor_mm=10))
    10.0
    """
    if not guide.has_corridor:
        raise Refused("guide_lacks_feature")
    first_mm, last_mm = guide.segment_corridor_mm
    ratio = last_mm / first_mm
    level = np.abs(ratio - 1) < 1e-9
    # ∫ over a taper: (length / (b - a)) ln(b / a); its limit where a = b.
    taper = np.log(np.where(level, 2.0, ratio)) / np.where(level, 1.0, last_mm - first_mm)
    return float((guide.segment_length_mm * np.where(level, 1.0 / first_mm, taper)).sum())
