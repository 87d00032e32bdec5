"""Entry documents, ``linnet-entry/1``: an attempt on paper, as an adult wrote it down.

What help was given and how the attempt ended are marks, as for every other attempt: they are
sent to the doors of marks, so that there is one form of help. They are no part of the document.
"""

from collections.abc import Iterator
from functools import cache
from typing import Annotated, Any, Literal, Self

from pydantic import Field

from analysis import ANALYSIS_VERSION
from analysis.trial import Mode
from server.cuts import Counts
from server.documents import (
    NO_BOUND,
    ConditionFields,
    PlanFields,
)
from server.faults import BadDocument, Fault
from server.fields import (
    Code,
    Count,
    Fields,
    Label,
    Line,
    Moment,
    Number,
    Radius,
    Use,
    Uuid,
    Width,
)
from server.guides import GuideFields
from server.strict_json import read_json
from server.validation import names_of, validated

LONGEST_S = 86_400.0

ONE_THING = "A criterion is on one thing: give either count or entered."
STRAY_AT_MOST = "A criterion on the largest stray takes at_most only."
CROSSED = "The lower bound, at_least, must not be above at_most."

ENTERED, NOTHING_ENTERED = "entered", "nothing_entered"
ENTRY_FLAGS = {
    ENTERED: "Entered by hand from paper: Linnet measured nothing of it.",
    NOTHING_ENTERED: "Nothing was counted or measured by ruler.",
}
"""Every flag an entry's report may carry, with the sentence a page shows."""

Seconds = Annotated[float, Field(ge=0, le=LONGEST_S)]


class EntryCriterionFields(Fields):
    """What counts as met: a bound on one of the counts, or on the largest stray."""

    count: Label | None = Field(default=None, description="Which of the counts.")
    entered: Literal["largest_stray_mm"] | None = None
    at_least: Number | None = None
    at_most: Number | None = None

    def faults(self) -> Iterator[Fault]:
        """Yield what no single field can show to be wrong; paths start at the criterion."""
        if (self.count is None) == (self.entered is None):
            yield Fault("", ONE_THING)
        low, high = self.at_least, self.at_most
        if low is None and high is None:
            yield Fault("", NO_BOUND)
        elif self.entered is not None and low is not None:
            yield Fault("/at_least", STRAY_AT_MOST)
        elif low is not None and high is not None and low > high:
            yield Fault("/at_least", CROSSED)


class EntryTaskFields(Fields):
    """What was asked of the child."""

    task_id: Code | None = None
    revision: Count | None = None
    mode: Mode
    name: Line | None = None
    use: Use | None = None
    criterion: EntryCriterionFields | None = None


class EntryGuideFields(Fields):
    """How large it was on paper."""

    corridor_mm: Width | None = Field(
        default=None, description="Full width of the band that was asked for. [mm]"
    )


class EntryDocument(Fields):
    """One attempt on paper: what was counted on it, and what a ruler said."""

    format: Literal["linnet-entry/1"]
    entry_id: Uuid
    seq: Count | None = None
    plan: PlanFields | None = None
    task: EntryTaskFields
    guide: EntryGuideFields = Field(default_factory=EntryGuideFields)
    condition: ConditionFields = Field(default_factory=ConditionFields)
    counts: Counts = Field(default_factory=dict)
    largest_stray_mm: Radius | None = Field(
        default=None, description="How far from the line it went at most, by ruler. [mm]"
    )
    duration_s: Seconds | None = Field(default=None, description="How long it took. [s]")
    started_at: Moment | None = None

    def faults(self) -> Iterator[Fault]:
        """Yield what no single field can show to be wrong."""
        if self.task.criterion is not None:
            for fault in self.task.criterion.faults():
                yield Fault(f"/task/criterion{fault.path}", fault.detail)

    def with_guide(self, _guide: GuideFields) -> Self:
        """Return the same entry: nothing of it is measured against a guide."""
        return self


@cache
def entry_names() -> frozenset[str]:
    """Return every key that the entry format defines, at any depth."""
    return names_of(EntryDocument)


def entry_of(tree: Any) -> EntryDocument:
    """Return the entry document of plain values.

    Raises
    ------
    BadDocument
        With every fault found; status 413 if there are too many counts.
    """
    document = validated(EntryDocument, tree, entry_names())
    faults = list(document.faults())
    if faults:
        raise BadDocument(faults)
    return document


def read_entry(raw: bytes) -> EntryDocument:
    """Read an entry document, or say where it is wrong. Unknown keys are kept.

    Parameters
    ----------
    raw : bytes
        The document exactly as received.

    Returns
    -------
    EntryDocument
        The document.

    Raises
    ------
    BadDocument
        With status 413 if it is too large, else 422, and all faults that were found.

    Examples
    --------
    >>> read_entry(b'{"format": "linnet-entry/1"')
    Traceback (most recent call last):
    server.faults.BadDocument: (document): The document is not JSON: look at line 1, column 28.
    """
    return entry_of(read_json(raw, entry_names()))


def report_entry(document: EntryDocument) -> dict[str, Any]:
    """Return the report of one entry.

    Parameters
    ----------
    document : EntryDocument
        A document that `read_entry` has accepted.

    Returns
    -------
    dict
        ``linnet-entry-report/1``: what was entered, as it was entered, and whether the
        criterion was met (null if what it is on was not entered). There are never measures:
        what a ruler said never joins what Linnet measured.
    """
    flags = [ENTERED]
    if not document.counts and document.largest_stray_mm is None:
        flags.append(NOTHING_ENTERED)
    return {
        "format": "linnet-entry-report/1",
        "entry_id": document.entry_id,
        "mode": document.task.mode,
        "analysis_version": ANALYSIS_VERSION,
        "quality": {"flags": flags},
        "entered": {
            "counts": dict(document.counts),
            "largest_stray_mm": document.largest_stray_mm,
            "duration_s": document.duration_s,
            "corridor_mm": document.guide.corridor_mm,
        },
        "measures": {},
        "criterion": _criterion(document),
    }


def _criterion(document: EntryDocument) -> dict[str, Any] | None:
    asked = document.task.criterion
    if asked is None:
        return None
    value: float | None = document.largest_stray_mm
    if asked.count is not None:
        value = document.counts.get(asked.count)
    met = None
    if value is not None:
        met = not (
            (asked.at_least is not None and value < asked.at_least)
            or (asked.at_most is not None and value > asked.at_most)
        )
    return {"count": asked.count, "entered": asked.entered, "met": met, "value": value}
