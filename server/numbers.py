"""How a number and its unit are written on a page."""

import math
from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analysis.measure import Measure

NO_BREAK = "\N{NO-BREAK SPACE}"
MINUS = "\N{MINUS SIGN}"

# What comes after so many digits of a percentage is arithmetic noise.
PERCENT_DECIMALS = 9
# Values to be near to are whole numbers and simple shares, such as the exponent -1/3.
LARGEST_DENOMINATOR = 12

# UCUM codes to what people write.
_WRITTEN = {
    "1": "",
    "%": "%",
    "mm": "mm",
    "mm2": "mm²",
    "s": "s",
    "mm/s": "mm/s",
    "s-1": "per s",
    "cm-1": "per cm",
    "Hz": "Hz",
    "deg": "°",
    "bit": "bit",
    "bit/s": "bit/s",
}

# What a positive and a negative value of a signed measure mean.
_SIDES = {
    "deviation_bias": ("left", "right"),
    "deviation_bias_outward": ("outside", "inside"),
    "cut_bias_outward": ("outside", "inside"),
    "target_error_constant_x": ("right", "left"),
    "target_error_constant_y": ("below", "above"),
}

_WORDS = (
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
)


def unit_words(unit: str) -> str:
    """Return a UCUM unit as people write it; counts and plain ratios have none.

    Examples
    --------
    >>> unit_words("mm2"), unit_words("{count}")
    ('mm²', '')
    """
    return "" if unit.startswith("{") else _WRITTEN.get(unit, unit)


def near_words(near: float) -> str:
    """Return the value to be near to: a whole number or a simple share.

    Examples
    --------
    >>> near_words(1.0), near_words(-1 / 3).replace(MINUS, "-")
    ('1', '-1/3')
    """
    return str(Fraction(near).limit_denominator(LARGEST_DENOMINATOR)).replace("-", MINUS)


def measured(value: float, measure: "Measure") -> str:
    """Return the value of a measure as pages write it: shares of 0 to 1 as percent.

    Examples
    --------
    >>> from analysis.registry import measure
    >>> measured(0.912, measure("in_corridor_share")).replace(NO_BREAK, " ")
    '91 %'
    >>> measured(0.8, measure("deviation_bias")).replace(NO_BREAK, " ")
    '0.8 mm left'
    """
    if is_share(measure):
        return percent(100.0 * value)
    if measure.id in _SIDES and round(value, measure.decimals) != 0:
        side = _SIDES[measure.id][value < 0]
        return f"{with_unit(abs(value), measure.unit, measure.decimals)} {side}"
    return with_unit(value, measure.unit, measure.decimals)


def is_share(measure: "Measure") -> bool:
    """Return whether a measure is a part of a whole, which people read in percent."""
    return measure.id.endswith("_share") or measure.id in ("completion", "cut_overlap")


def number(value: float, decimals: int) -> str:
    """Return a number with a true minus sign and no negative zero.

    Examples
    --------
    >>> number(-1.25, 1), number(-0.01, 1)
    ('−1.2', '0.0')
    """
    if not math.isfinite(value):
        raise ValueError(f"only a finite number can be written, got {value}")
    text = f"{value:.{decimals}f}"
    if float(text) == 0:
        return text.lstrip("-")
    return text.replace("-", MINUS)


def with_unit(value: float, unit: str, decimals: int) -> str:
    """Return number and unit with a space that does not break.

    Examples
    --------
    >>> with_unit(91.2, "%", 0).replace(NO_BREAK, " ")
    '91 %'
    """
    word = unit_words(unit)
    gap = "" if word in ("", "°") else NO_BREAK
    return f"{number(value, decimals)}{gap}{word}"


def trimmed(value: float, decimals: int = 3) -> str:
    """Return a number without needless zeros: widths read "6", "4.5" or "3.175".

    Examples
    --------
    >>> trimmed(6.0), trimmed(3.175)
    ('6', '3.175')
    """
    text = number(value, decimals)
    return text.rstrip("0").rstrip(".") if "." in text else text


def percent(share_pct: float) -> str:
    """Return a reading of 0 to 100 without claiming all or nothing by rounding.

    Examples
    --------
    >>> [percent(v).replace(NO_BREAK, " ") for v in (91.2, 99.8, 0.2, 100.0)]
    ['91 %', '99 %', '1 %', '100 %']
    """
    share_pct = round(share_pct, PERCENT_DECIMALS)
    whole = round(share_pct)
    if whole >= 100 and share_pct < 100.0:
        whole = 99
    if whole <= 0 and share_pct > 0.0:
        whole = 1
    return f"{whole}{NO_BREAK}%"


def unbroken(words: str) -> str:
    """Return words in which no percent sign begins a line."""
    return words.replace(" %", f"{NO_BREAK}%")


def count_word(count: int) -> str:
    """Return a small count in words, a larger one in digits.

    Examples
    --------
    >>> count_word(0), count_word(3), count_word(14)
    ('no', 'three', '14')
    """
    return _WORDS[count] if 0 <= count < len(_WORDS) else str(count)


def minutes_words(minutes: float) -> str:
    """Return how long something lasted [min], as every page says it.

    Examples
    --------
    >>> minutes_words(28.0).replace(NO_BREAK, " "), minutes_words(0.17).replace(NO_BREAK, " ")
    ('28 min', '0.2 min')
    """
    return f"{trimmed(minutes, 1)}{NO_BREAK}min"


def each_side(half_width_mm: float) -> str:
    """Return how wide the corridor is, as every page says it.

    Examples
    --------
    >>> each_side(6.0).replace(NO_BREAK, " ")
    '6 mm each side'
    """
    return f"{trimmed(half_width_mm)}{NO_BREAK}mm each side"
