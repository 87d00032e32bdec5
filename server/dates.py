"""Days as pages write them, the same in every language setting of the machine."""

from datetime import date, datetime

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def iso(moment: date | None) -> str | None:
    """Return a day or a moment as documents write it; None stays None.

    Examples
    --------
    >>> iso(date(2026, 3, 3)), iso(None)
    ('2026-03-03', None)
    """
    return None if moment is None else moment.isoformat()


def day_words(day: date) -> str:
    """Return a day with its year.

    Examples
    --------
    >>> day_words(date(2026, 3, 3))
    '3 March 2026'
    """
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def weekday_words(day: date) -> str:
    """Return a day with its weekday.

    Examples
    --------
    >>> weekday_words(date(2026, 3, 3))
    'Tuesday 3 March 2026'
    """
    return f"{WEEKDAYS[day.weekday()]} {day_words(day)}"


def short_day(day: date) -> str:
    """Return a day for the axis of a picture.

    Examples
    --------
    >>> short_day(date(2026, 3, 3))
    '3 Mar'
    """
    return f"{day.day} {MONTHS[day.month - 1][:3]}"


def clock_words(moment: datetime) -> str:
    """Return hour and minute of a local moment."""
    return f"{moment:%H:%M}"
