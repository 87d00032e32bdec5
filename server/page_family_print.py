"""The page for a family as it is printed: in the browser, or as PDF."""

import base64
from collections.abc import Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from sqlalchemy.orm import Session

from server.dates import weekday_words
from server.deps import SeenSession
from server.family_draft import YOUR_CHILD, caution_words, family_draft, speaks_of_cutting
from server.family_refusals import AGAIN, name_for_family, refused_texts
from server.family_words import picture_words
from server.note_numbers import numbers_of
from server.page_family import FIELDS, HUMAN, NOTHING, FamilyTexts, drawn_lines, title_of
from server.store_trials import amended_document, trial_by_id

if TYPE_CHECKING:
    from server.printed import Block

# What fits on one page in large letters, with and without a picture.
PAGE_LETTERS, PAGE_LETTERS_BESIDE_PICTURE = 1500, 1000
PICTURE_MM = 120.0
CAUTION_HEAD = "Please note"
NO_WORDS = "There are no words yet. Write something into one of the fields first."
NO_LINE = "This line is not among those of the session any more. Choose another one."


class NotPrinted(ValueError):
    """Raised when there is no page to print; says why, and what is wrong with which field."""

    def __init__(self, sentence: str, troubles: Mapping[str, str] = NOTHING) -> None:
        super().__init__(sentence)
        self.troubles = troubles


def family_print(db: Session, seen: SeenSession, texts: FamilyTexts) -> dict[str, Any]:
    """Return what the printed page says.

    Parameters
    ----------
    db : Session
        Database session.
    seen : SeenSession
        Which session.
    texts : FamilyTexts
        The words, cleaned.

    Returns
    -------
    dict
        `title`, `day`, `paragraphs`, `sections`, `caution`, `picture` as PNG, `alt`, and
        what the form had.

    Raises
    ------
    NotPrinted
        If there are no words, if they hold what no family gets, or if the line is none of the
        session's.
    """
    if not any(texts.words):
        raise NotPrinted(NO_WORDS)
    child = seen.child
    troubles = refused_texts(texts.by_field, child.code)
    if troubles:
        raise NotPrinted(AGAIN, troubles)
    numbers, name = numbers_of(db, seen.session), name_for_family(child)
    cutting = family_draft(numbers, name).cutting
    line = _line(numbers, texts.line) if texts.picture else None
    wanted = cutting or texts.scissors or speaks_of_cutting(texts.words)
    room = PAGE_LETTERS_BESIDE_PICTURE if texts.picture else PAGE_LETTERS
    return {
        "session_id": seen.session.id,
        "title": title_of(child),
        "day": weekday_words(seen.session.day),
        "paragraphs": [text for text in texts.words[: len(FIELDS)] if text],
        "sections": [
            (field.label, getattr(texts, field.name))
            for field in HUMAN
            if getattr(texts, field.name)
        ],
        "caution_head": CAUTION_HEAD,
        "caution": caution_words(name) if wanted else None,
        "picture": _picture(db, line["trial_id"]) if line else None,
        "alt": picture_words(line, name or YOUR_CHILD) if line else "",
        "is_long": sum(map(len, texts.words)) > room,
        "typed": asdict(texts),
    }


def _line(numbers: Mapping[str, Any], trial_id: str) -> dict[str, Any]:
    for one in drawn_lines(numbers).values():
        if one["trial_id"] == trial_id:
            return one
    raise NotPrinted(NO_LINE)


def _picture(db: Session, trial_id: str) -> bytes:
    trial = trial_by_id(db, trial_id)
    if trial is None:
        raise NotPrinted(NO_LINE)
    # Drawing needs the analysis and matplotlib, which take a second to load.
    from analysis.workings import Workings
    from server.figures_plain import plain_figure
    from server.figures_style import render

    workings = Workings(amended_document(db, trial).measured.to_trial())
    return render(plain_figure(workings), "png")


def data_address(png: bytes | None) -> str | None:
    """Return a picture as an address that the pages' policy allows."""
    return None if png is None else f"data:image/png;base64,{base64.b64encode(png).decode()}"


def family_pdf(words: Mapping[str, Any]) -> bytes:
    """Return the printed page as PDF, from the words of `family_print`."""
    from server.printed import Heading, Paragraph, Picture, printed

    blocks: list[Block] = [Paragraph(words["day"], muted=True)]
    blocks += [Paragraph(text) for text in words["paragraphs"]]
    if words["picture"] is not None:
        blocks.append(Picture(words["picture"], words["alt"], PICTURE_MM))
    for heading, text in words["sections"]:
        blocks += [Heading(heading), Paragraph(text)]
    if words["caution"] is not None:
        blocks += [Heading(CAUTION_HEAD), Paragraph(words["caution"])]
    return printed(words["title"], blocks, large=True)
