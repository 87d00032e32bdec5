"""The text of an InkML trace: points, differences and wild cards (InkML, section 3.2)."""

import math
import re
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from analysis.trace import FloatArray

EXPLICIT, VELOCITY, ACCELERATION = "!", "'", '"'

NO_VALUE = "it holds fewer values than the ink has channels."
SURPLUS = "it holds more values than the ink has channels."
NOT_A_VALUE = "it holds something that is no value of InkML."
TRUTH = "true and false are no positions, times or forces."
NOT_BEGUN = "a difference needs an explicit value before it, a second difference a first one."
NOT_FINITE = "it holds a number that is not finite."

_TOKEN = re.compile(
    r"""
    ([!'"])?\ ?                                                   # order of difference
    (?:
        (-\ ?)?                                                   # sign
        (?:\#([0-9A-F]+)|((?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?))  # hexadecimal or decimal
        |([TF*?])                                                 # true, false, same, unknown
    )
    """,
    re.VERBOSE,
)


class BadPoint(Exception):
    """Raised when a point cannot be read; `number` counts from 1, `says` ends the sentence."""

    def __init__(self, number: int, says: str) -> None:
        super().__init__(says)
        self.number, self.says = number, says


class Channel(NamedTuple):
    """One column of a trace.

    Attributes
    ----------
    name : str
        ``X``, ``Y``, ``T``, ``F`` or any other.
    boolean : bool
        Whether it holds true and false.
    intermittent : bool
        Whether points may leave it out.
    """

    name: str
    boolean: bool = False
    intermittent: bool = False


class _Column:
    """The values of one channel so far: how they are told, and the last of each order."""

    def __init__(self, channel: Channel) -> None:
        self._boolean = channel.boolean
        self._order = EXPLICIT
        self._value = self._velocity = self._acceleration = math.nan

    def next(self, order: str | None, text: str) -> float:
        """Return the value that one token stands for; NaN for a value not reported."""
        if text in ("T", "F"):
            if not self._boolean:
                raise ValueError(TRUTH)
            self._value = float(text == "T")
            return self._value
        self._order = order or self._order
        if text == "?":
            return math.nan
        if text != "*":
            number = _number(text)
            if self._order == EXPLICIT:
                return self._explicit(number)
            if self._order == VELOCITY:
                self._velocity = number
            else:
                self._acceleration = number
        return self._integrated()

    def _explicit(self, number: float) -> float:
        self._value, self._velocity, self._acceleration = number, math.nan, math.nan
        return number

    def _integrated(self) -> float:
        """Return the next value: the last one, moved on as the order of difference says."""
        if self._order == ACCELERATION:
            self._velocity += self._acceleration
        if self._order != EXPLICIT:
            self._value += self._velocity
        if math.isnan(self._value):
            raise ValueError(NOT_BEGUN)
        return self._value


def _number(text: str) -> float:
    sign = -1.0 if text.startswith("-") else 1.0
    digits = text.lstrip("- ")
    try:
        number = sign * float(int(digits[1:], 16) if digits.startswith("#") else digits)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise ValueError(NOT_FINITE)
    return number


def _tokens(point: str, least: int, most: int) -> list[tuple[str | None, str]]:
    """Return prefix and value of each token of a point, of which so many are right."""
    found: list[tuple[str | None, str]] = []
    at = 0
    for match in _TOKEN.finditer(point):
        if point[at : match.start()].strip():
            raise ValueError(NOT_A_VALUE)
        at = match.end()
        if len(found) >= most:
            raise ValueError(SURPLUS)
        order, sign, digits, number, letter = match.groups()
        value = letter or f"{'-' if sign else ''}{'#' + digits if digits else number}"
        found.append((order, value))
    if point[at:].strip():
        raise ValueError(NOT_A_VALUE)
    if len(found) < least:
        raise ValueError(NO_VALUE)
    return found


def read_points(text: str, channels: Sequence[Channel]) -> FloatArray:
    r"""Return the values of a trace.

    Parameters
    ----------
    text : str
        What stands in the trace element: points parted by commas.
    channels : sequence of Channel
        Regular ones first, then the intermittent ones.

    Returns
    -------
    ndarray, shape (points, channels)
        Differences are added up. NaN where a channel reports nothing.

    Raises
    ------
    BadPoint
        If a point is not as the Recommendation says.

    Examples
    --------
    >>> read_points("1125 18432,'23'43,'7'-8", [Channel("X"), Channel("Y")])[-1].tolist()
    [1155.0, 18467.0]
    """
    points = " ".join(text.split()).split(",")
    if not points[-1].strip():
        points.pop()
    columns = [_Column(channel) for channel in channels]
    least = sum(not channel.intermittent for channel in channels)
    rows = np.full((len(points), len(channels)), np.nan)
    for number, point in enumerate(points, start=1):
        try:
            for at, (order, value) in enumerate(_tokens(point, least, len(channels))):
                rows[number - 1, at] = columns[at].next(order, value)
        except ValueError as error:
            raise BadPoint(number, str(error)) from None
    return rows
