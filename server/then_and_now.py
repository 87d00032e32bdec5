"""The first and the latest sessions of a series, beside the spread of repeat trials."""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from server.trend_bands import LEAST_PAIRS, least_change
from server.trend_series import Series, SessionPoint

MOST_EACH = 3
USUAL_EACH = 2
TOO_FEW, NO_SPREAD = "too_few_trials", "zero_variance"


@dataclass(frozen=True)
class Period:
    """Some sessions of a series that follow each other.

    Attributes
    ----------
    points : tuple of SessionPoint
        At least one, in order.
    trials : tuple of float
        The single values behind them. [unit of the measure]
    """

    points: tuple[SessionPoint, ...]
    trials: tuple[float, ...] = ()

    @property
    def value(self) -> float:
        """Median of the sessions, each of which is a median of its trials. [unit]"""
        return float(median(point.value for point in self.points))

    @property
    def session_ids(self) -> frozenset[str]:
        """Which sessions."""
        return frozenset(point.session_id for point in self.points)

    @property
    def count(self) -> int:
        """Trials that count. [1]"""
        return sum(point.n for point in self.points)

    @property
    def helps(self) -> int:
        """How many of them with help. [1]"""
        return sum(point.helps for point in self.points)


@dataclass(frozen=True)
class Compared:
    """Then and now of one series.

    Attributes
    ----------
    series : Series
        What is compared.
    then, now : Period
        Its first and its latest sessions; no session is in both.
    between : tuple of SessionPoint
        What lies between them.
    spread : float or None
        Within this, two single trials of one sitting differ 19 times in 20. [unit]
    reason : str or None
        Why the spread is not known: ``too_few_trials`` below five pairs, ``zero_variance`` if
        no pair differs.
    """

    series: Series
    then: Period
    now: Period
    between: tuple[SessionPoint, ...]
    spread: float | None
    reason: str | None

    @property
    def days(self) -> int:
        """From the first session of then to the last of now. [day]"""
        return (self.now.points[-1].day - self.then.points[0].day).days

    @property
    def is_beyond(self) -> bool | None:
        """Whether now differs from then by more than the spread; None if it is not known."""
        if self.spread is None:
            return None
        return abs(self.now.value - self.then.value) > self.spread


def compared(series: Series, session_ids: Sequence[str], each: int = USUAL_EACH) -> Compared | None:
    """Return then and now of a series, or None where it has fewer than two sessions.

    Parameters
    ----------
    series : Series
        Of one child and one measure.
    session_ids : sequence of str
        The sessions that may be taken.
    each : int
        How many sessions are wanted on either side; fewer where there are fewer. [1]

    Raises
    ------
    ValueError
        If `each` is below 1.
    """
    if each < 1:
        raise ValueError("each side needs at least one session")
    allowed = frozenset(session_ids)
    points = tuple(point for point in series.points if point.session_id in allowed)
    if len(points) < 2:
        return None
    taken = min(each, len(points) // 2)
    spread = least_change(series)
    few = len(series.repeats) < LEAST_PAIRS
    reason = None if spread is not None else TOO_FEW if few else NO_SPREAD
    return Compared(
        series,
        Period(points[:taken]),
        Period(points[-taken:]),
        points[taken:-taken],
        spread,
        reason,
    )
