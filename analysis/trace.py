"""The samples of one trial, as they came from the device."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.errors import BadTrace

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


def _column(name: str, values: ArrayLike, dtype: Any, shape_tail: tuple[int, ...] = ()) -> Any:
    array: NDArray[Any] = np.array(values, dtype=dtype)
    if array.size == 0:
        array = array.reshape((0, *shape_tail))
    if array.ndim != 1 + len(shape_tail) or array.shape[1:] != shape_tail:
        raise BadTrace(f"{name} must have shape (n{''.join(f', {k}' for k in shape_tail)})")
    array.setflags(write=False)
    return array


@dataclass(frozen=True, eq=False)
class Trace:
    """All samples of one trial in the order in which the device reported them.

    Faults of quality (time going back, no samples, gaps) are allowed: they are
    for `analysis.quality` to judge. Faults of structure are not.

    Parameters
    ----------
    xy_mm : array_like, shape (n, 2)
        Position; x to the right, y down the page. [mm]
    t_s : array_like, shape (n,), or None
        Device event time; None for ink without times. [s]
    stroke : array_like of int, shape (n,)
        Number of the stroke each sample belongs to. [1]
    pressure : array_like, shape (n,), or None
        Share of the device's range; NaN where it was not measured. [1]
    pointer : array_like of int, shape (n,), or None
        Contact, 0 or 1, of two-handed trials. [1]

    Raises
    ------
    BadTrace
        If columns differ in length or hold a number that is not finite.

    Examples
    --------
    >>> trace = Trace(xy_mm=[[0, 0], [1, 0]], t_s=[0.0, 0.01], stroke=[0, 0])
    >>> len(trace)
    2
    """

    xy_mm: FloatArray
    t_s: FloatArray | None
    stroke: IntArray
    pressure: FloatArray | None = None
    pointer: IntArray | None = None

    def __post_init__(self) -> None:
        columns = {
            "xy_mm": _column("xy_mm", self.xy_mm, np.float64, (2,)),
            "stroke": _column("stroke", self.stroke, np.int64),
        }
        if self.t_s is not None:
            columns["t_s"] = _column("t_s", self.t_s, np.float64)
        if self.pressure is not None:
            columns["pressure"] = _column("pressure", self.pressure, np.float64)
        if self.pointer is not None:
            columns["pointer"] = _column("pointer", self.pointer, np.int64)
        sizes = {name: len(column) for name, column in columns.items()}
        if len(set(sizes.values())) > 1:
            raise BadTrace(f"columns must have equal length, got {sizes}")
        for name in ("xy_mm", "t_s"):
            if name in columns and not np.isfinite(columns[name]).all():
                at = int(np.argwhere(~np.isfinite(columns[name]))[0][0])
                raise BadTrace(f"{name} must be finite: see sample {at}")
        for name, column in columns.items():
            object.__setattr__(self, name, column)

    def __len__(self) -> int:
        return len(self.xy_mm)
