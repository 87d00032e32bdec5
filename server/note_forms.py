"""What the forms of a note bring, as it was typed."""

from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, Field

from server.fields import LARGEST_INTEGER
from server.store_notes import SECTIONS


def _plain(text: object) -> object:
    """Bring line ends to the one form that is kept; a tab is a space."""
    if not isinstance(text, str):
        return text
    return text.replace("\r\n", "\n").replace("\r", "\n").replace("\t", " ")


LongText = Annotated[str, BeforeValidator(_plain), Field(max_length=8000)]
ShortText = Annotated[str, BeforeValidator(_plain), Field(max_length=500)]


class NoteForm(BaseModel):
    """The four sections as typed, the revision they build on, and which button was pressed."""

    based_on: Annotated[int, Field(ge=0, le=LARGEST_INTEGER)]
    subjective: LongText = ""
    objective: LongText = ""
    assessment: LongText = ""
    plan: LongText = ""
    do: Literal["save", "draft", "sign"] = "save"
    read: Literal["yes", ""] = ""

    def texts(self) -> dict[str, str]:
        """Return the sections by name."""
        return {name: getattr(self, name) for name in SECTIONS}


class ReturnForm(BaseModel):
    """Why a note goes back."""

    reason: ShortText = ""


class CosignForm(BaseModel):
    """That the note was read."""

    read: Literal["yes", ""] = ""


class AddendumForm(BaseModel):
    """Words to be added; `id` came with the page, so that sending twice adds once."""

    id: Annotated[str, Field(max_length=36)]
    text: LongText = ""
