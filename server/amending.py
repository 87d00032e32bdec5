"""Corrections of what a trial's record says about itself, laid over the document when computing.

The record itself never changes. Amendments apply in order, so that the newest word counts.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, Generic, Literal, TypeVar

from pydantic import ConfigDict, Field
from typing_extensions import TypedDict

from server.documents import TrialDocument
from server.fields import Label, Millimetres, Uuid

if TYPE_CHECKING:
    from server.cuts import CutDocument
    from server.entries import EntryDocument

AMENDED = "amended"

Amendable = TypeVar("Amendable", TrialDocument, "CutDocument", "EntryDocument")


class Patch(TypedDict, total=False):
    """What is corrected; only the keys that are given.

    `hand_used` is the hand that really drew, `midline_x_mm` null if the midline is not known
    after all, `session_id` the session of the same child that the trial belongs to.
    """

    __pydantic_config__ = ConfigDict(extra="forbid")  # type: ignore[misc]

    hand_used: Literal["left", "right", "both"]
    position: Label
    tool: Label
    midline_x_mm: Annotated[Millimetres | None, Field(strict=True)]
    session_id: Uuid


@dataclass(frozen=True)
class Amended(Generic[Amendable]):
    """A document with its amendments.

    Attributes
    ----------
    document : TrialDocument, CutDocument or EntryDocument
        Position, tool and midline as amended; the hand as it was asked.
    hand_used : str or None
        The hand that drew, as amended.
    count : int
        How many amendments were applied. [1]
    """

    document: Amendable
    hand_used: str | None = None
    count: int = 0

    @property
    def measured(self) -> Amendable:
        """The document as it is measured: measures that ask which hand drew get the true one."""
        if self.hand_used is None:
            return self.document
        return _with_condition(self.document, {"hand": self.hand_used})


def amended(document: Amendable, patches: Iterable[Mapping[str, Any]]) -> Amended[Amendable]:
    """Return a document with its amendments laid over it.

    Parameters
    ----------
    document : TrialDocument, CutDocument or EntryDocument
        As the record has it; it is not changed. Only a trial of a tablet has a midline.
    patches : iterable of mapping
        Patches in order, each with the keys of `Patch`.

    Returns
    -------
    Amended
        The amended document, and what no document can say.
    """
    count, together = 0, dict[str, Any]()
    for patch in patches:
        count += 1
        together.update(patch)
    said = {name: value for name, value in together.items() if name in ("position", "tool")}
    if said:
        document = _with_condition(document, said)
    if "midline_x_mm" in together and isinstance(document, TrialDocument):
        midline = {"midline_x_mm": together["midline_x_mm"], "midline_source": AMENDED}
        document = document.with_guide(document.guide.model_copy(update=midline))
    return Amended(document, together.get("hand_used"), count)


def _with_condition(document: Amendable, said: dict[str, Any]) -> Amendable:
    condition = document.condition.model_copy(update=said)
    return document.model_copy(update={"condition": condition})
