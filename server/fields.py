"""Kinds of values that documents are made of, with the range each may have."""

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    Tag,
)
from pydantic_core import PydanticCustomError

MAX_SAMPLES = 200_000
MAX_POINTS = 10_000
MAX_PARTS = 100
MAX_TARGETS = 200
MAX_MARKS = 1_000

# Ten metres and one day: far beyond any tablet, near enough that no square overflows.
FARTHEST_MM = 10_000.0
LONGEST_MS = 86_400_000.0
LARGEST_INTEGER = 2**31 - 1

UUID_PATTERN = r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$"
CODE_PATTERN = r"^[A-Za-z0-9][A-Za-z0-9_.:-]*$"
LABEL_PATTERN = r"^[a-z][a-z0-9_]*$"
LINE_PATTERN = r"^[^\x00-\x1f\x7f]*$"
TEXT_PATTERN = r"^[^\x00-\x09\x0b-\x1f\x7f]*$"


class Fields(BaseModel):
    """An object of a document: strict types, unknown keys kept."""

    model_config = ConfigDict(strict=True, extra="allow", allow_inf_nan=False)


def _moment(text: str) -> str:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        raise PydanticCustomError("moment", "not a moment")
    return text


def pair(value: Any) -> Any:
    """Return a list of two as it is; anything else is refused in one sentence."""
    if not isinstance(value, list) or len(value) != 2:
        raise PydanticCustomError("pair", "not a pair")
    return value


Moment = Annotated[str, Field(max_length=40), AfterValidator(_moment)]
Uuid = Annotated[str, Field(pattern=UUID_PATTERN, max_length=36)]
Code = Annotated[str, Field(pattern=CODE_PATTERN, max_length=64)]
Label = Annotated[str, Field(pattern=LABEL_PATTERN, max_length=40)]
Line = Annotated[str, Field(pattern=LINE_PATTERN, max_length=120)]

Millimetres = Annotated[float, Field(ge=-FARTHEST_MM, le=FARTHEST_MM)]
Width = Annotated[float, Field(gt=0, le=FARTHEST_MM)]
Radius = Annotated[float, Field(ge=0, le=FARTHEST_MM)]
Milliseconds = Annotated[float, Field(ge=-LONGEST_MS, le=LONGEST_MS)]
Share = Annotated[float, Field(ge=0, le=1)]
Degrees = Annotated[float, Field(ge=-90, le=90)]
Count = Annotated[int, Field(ge=0, le=LARGEST_INTEGER)]
Contact = Annotated[int, Field(ge=0, le=1)]
Number = Annotated[float, Field(ge=-1e12, le=1e12)]

# Two numbers in a list; JSON has no tuples, so the length is checked before the numbers.
Point = Annotated[list[Millimetres], BeforeValidator(pair), Field(min_length=2, max_length=2)]
Size = Annotated[list[Width], BeforeValidator(pair), Field(min_length=2, max_length=2)]
# Shares of the pen's range; that the first is below the second is for the document to check.
Band = Annotated[list[Share], BeforeValidator(pair), Field(min_length=2, max_length=2)]
# A level line has no height.
Extent = Annotated[list[Radius], BeforeValidator(pair), Field(min_length=2, max_length=2)]
Points = Annotated[list[Point], Field(fail_fast=True, max_length=MAX_POINTS)]
Widths = Annotated[list[Width], Field(fail_fast=True, max_length=MAX_POINTS)]

# One width for all vertices, or one for each.
ONE, EACH = "one", "each"
Corridor = Annotated[
    Annotated[Width, Tag(ONE)] | Annotated[Widths, Tag(EACH)],
    Discriminator(lambda value: EACH if isinstance(value, list) else ONE),
]

# A column of 200 000 wrong values deserves one sentence, not 200 000.
Times = Annotated[list[Milliseconds], Field(fail_fast=True, max_length=MAX_SAMPLES)]
Positions = Annotated[list[Millimetres], Field(fail_fast=True, max_length=MAX_SAMPLES)]
Strokes = Annotated[list[Count], Field(fail_fast=True, max_length=MAX_SAMPLES)]
Pressures = Annotated[list[Share | None], Field(fail_fast=True, max_length=MAX_SAMPLES)]
Tilts = Annotated[list[Degrees | None], Field(fail_fast=True, max_length=MAX_SAMPLES)]
Contacts = Annotated[list[Contact], Field(fail_fast=True, max_length=MAX_SAMPLES)]

Hand = Literal["left", "right", "free", "both"]
Direction = Literal[
    "left_to_right",
    "right_to_left",
    "downward",
    "upward",
    "clockwise",
    "anticlockwise",
    "none",
]
Use = Literal["probe", "practice"]
