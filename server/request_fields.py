"""Kinds of values that the bodies of requests are made of; unknown keys are refused."""

from datetime import date, datetime
from typing import Annotated

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field
from pydantic_core import PydanticCustomError

from server.fields import LINE_PATTERN, TEXT_PATTERN, Uuid

MONTH_LETTERS = len("2026-03")
# Far beyond any record, and near enough that no time zone and no axis runs over the end.
EARLIEST_YEAR, LATEST_YEAR = 1900, 2999


class Body(BaseModel):
    """What a request brings: every key is known, numbers are numbers and finite."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)


def _is_near(day: date) -> bool:
    return EARLIEST_YEAR <= day.year <= LATEST_YEAR


def _day(value: object) -> date:
    # Only this form: else a number of seconds or a moment would be taken for a day too.
    try:
        day = date.fromisoformat(value) if isinstance(value, str) else None
    except ValueError:
        day = None
    if day is None or value != day.isoformat() or not _is_near(day):
        raise PydanticCustomError("date_type", "not a day of these centuries")
    return day


def _moment(value: object) -> object:
    try:
        moment = datetime.fromisoformat(value) if isinstance(value, str) else None
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None or not _is_near(moment):
        raise PydanticCustomError("moment", "not a moment")
    return moment


def _month(text: str) -> str:
    try:
        day = date.fromisoformat(f"{text}-01") if len(text) == MONTH_LETTERS else None
    except ValueError:
        day = None
    if day is None or not _is_near(day):
        raise PydanticCustomError("month", "not a month")
    return text


Day = Annotated[date, BeforeValidator(_day)]
# Aware, with the offset that was given.
Moment = Annotated[datetime, BeforeValidator(_moment)]
Month = Annotated[str, AfterValidator(_month)]
# One line, not empty; and text of several lines, which may be.
Words = Annotated[str, Field(pattern=LINE_PATTERN, min_length=1, max_length=200)]
Text = Annotated[str, Field(pattern=TEXT_PATTERN, max_length=8000)]
Reason = Annotated[str, Field(pattern=TEXT_PATTERN, min_length=1, max_length=500)]

__all__ = ["Body", "Day", "Moment", "Month", "Reason", "Text", "Uuid", "Words"]
