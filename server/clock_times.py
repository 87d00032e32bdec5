"""Clock times as forms bring them, on the day of a session, and the minutes between two."""

from datetime import date, datetime, time

from server.faults import Fault
from server.problems import Problem
from server.settings import Settings

NO_CLOCK = "This must be a time as in 09:10."


def moment_of(text: str, name: str, day: date, settings: Settings) -> datetime | None:
    """Return a clock time of a day; None if nothing was typed.

    Parameters
    ----------
    text : str
        Such as "09:10".
    name : str
        The field of the form.
    day : date
        Which day, in the practice's time zone.
    settings : Settings
        Say that time zone.

    Raises
    ------
    Problem
        422 under the name of the field if it is no clock time.
    """
    if not text:
        return None
    try:
        clock = time.fromisoformat(text)
    except ValueError:
        clock = None
    if clock is None or clock.tzinfo is not None:
        raise Problem(422, errors=[Fault(f"/{name}", NO_CLOCK)])
    # Without a zone of its own the practice keeps that of the machine.
    local = datetime.combine(day, clock, settings.zone)
    return local if settings.zone is not None else local.astimezone()


def whole_minutes(minutes: float) -> int:
    """Return how long a session lasted as people say it [min]: what began lasted one at least.

    Examples
    --------
    >>> whole_minutes(2.9), whole_minutes(0.2), whole_minutes(28.0)
    (3, 1, 28)
    """
    return max(1, round(minutes))
