"""Traces whose truth is known, because they are made from it."""

from dataclasses import dataclass

import numpy as np

from analysis.guide import Guide
from analysis.trace import FloatArray, IntArray, Trace
from analysis.trial import Condition, Device, Trial

RATES_HZ = (60, 120, 240)


@dataclass(frozen=True, eq=False)
class Known:
    """A trace with the progress and distance it was made from."""

    t_s: FloatArray
    xy_mm: FloatArray
    s_mm: FloatArray
    d_mm: FloatArray


def jittered_times(duration_s: float, rate_hz: float, rng: np.random.Generator) -> FloatArray:
    """Sample times at a rate, each up to 40 % of a step early or late, ends exact."""
    count = round(duration_s * rate_hz) + 1
    t_s = np.arange(count) / rate_hz
    t_s[1:-1] += rng.uniform(-0.4, 0.4, count - 2) / rate_hz
    return t_s


def smooth_tangent(guide: Guide, s_mm: FloatArray, reach_mm: float = 0.25) -> FloatArray:
    """Unit tangent at progress, by a chord of twice the reach."""
    if guide.closed:
        chord = guide.point_at(s_mm + reach_mm) - guide.point_at(s_mm - reach_mm)
    else:
        last = guide.length_mm
        chord = guide.point_at(np.minimum(s_mm + reach_mm, last)) - guide.point_at(
            np.maximum(s_mm - reach_mm, 0)
        )
    return chord / np.hypot(*chord.T)[:, None]


def beside(guide: Guide, s_mm: FloatArray, d_mm: FloatArray, reach_mm: float = 0.25) -> FloatArray:
    """Points at a signed distance to the left of travel; a wide reach rounds the corners."""
    tangent = smooth_tangent(guide, s_mm, reach_mm)
    left = np.column_stack([tangent[:, 1], -tangent[:, 0]])
    return guide.point_at(s_mm) + d_mm[:, None] * left


def wavy(
    guide: Guide,
    amplitude_mm: float,
    *,
    wavelength_mm: float = 60.0,
    speed_mm_s: float = 40.0,
    rate_hz: float = 120.0,
    backwards: bool = False,
) -> Known:
    """Constant progress with a sine beside the line."""
    t_s = np.arange(round(guide.length_mm / speed_mm_s * rate_hz) + 1) / rate_hz
    s_mm = np.linspace(0, guide.length_mm, len(t_s))
    if backwards:
        s_mm = s_mm[::-1]
    d_mm = amplitude_mm * np.sin(2 * np.pi * s_mm / wavelength_mm)
    return Known(t_s, beside(guide, s_mm, d_mm), s_mm, d_mm)


def trial(
    guide: Guide | None,
    xy_mm: FloatArray,
    t_s: FloatArray | None,
    stroke: IntArray | None = None,
    **changes: object,
) -> Trial:
    """A calibrated pen trial with the given samples."""
    count = len(xy_mm)
    strokes = np.zeros(count, dtype=np.int64) if stroke is None else stroke
    pressure = changes.pop("pressure", None)
    fields: dict[str, object] = {
        "trial_id": "00000000-0000-4000-8000-000000000000",
        "mode": "trace",
        "trace": Trace(xy_mm=xy_mm, t_s=t_s, stroke=strokes, pressure=pressure),  # type: ignore[arg-type]
        "guide": guide,
        "condition": Condition(hand="right", direction="left_to_right"),
        "device": Device(pointer_type="pen", calibrated=True, coalesced=True, secure_context=True),
    }
    return Trial(**{**fields, **changes})  # type: ignore[arg-type]
