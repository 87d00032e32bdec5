"""What the forms of a note bring, as it was typed.

The forms take any text: what does not fit is refused on the page, where it was typed.
"""

from typing import Annotated

from pydantic import BaseModel, BeforeValidator

from server.fields import LARGEST_INTEGER
from server.store_notes import SECTIONS

SAVE, DRAFT_AGAIN, SIGN = "save", "draft", "sign"


def _plain(text: object) -> object:
    """Bring line ends to the one form that is kept; a tab is a space."""
    if not isinstance(text, str):
        return text
    return text.replace("\r\n", "\n").replace("\r", "\n").replace("\t", " ")


def _revision(text: object) -> int:
    """Return the revision that the page was made of; what is none was made of no note."""
    known = str(text).isascii() and str(text).isdecimal()
    return min(int(str(text)[:20]), LARGEST_INTEGER) if known else 0


Typed = Annotated[str, BeforeValidator(_plain)]


class NoteForm(BaseModel):
    """The four sections as typed, the revision they build on, and which button was pressed."""

    based_on: Annotated[int, BeforeValidator(_revision)] = 0
    subjective: Typed = ""
    objective: Typed = ""
    assessment: Typed = ""
    plan: Typed = ""
    started: Typed = ""
    ended: Typed = ""
    do: str = SAVE
    read: str = ""

    def texts(self) -> dict[str, str]:
        """Return the sections by name."""
        return {name: getattr(self, name) for name in SECTIONS}

    def times(self) -> dict[str, str]:
        """Return when the session began and ended, as typed, by field."""
        return {"started": self.started, "ended": self.ended}


class ReturnForm(BaseModel):
    """Why a note goes back."""

    reason: Typed = ""


class CosignForm(BaseModel):
    """That the note was read."""

    read: str = ""


class AddendumForm(BaseModel):
    """Words to be added; `id` came with the page, so that sending twice adds once."""

    id: str = ""
    text: Typed = ""
