"""Forms and pages for families, and the page of then and now."""

from typing import TYPE_CHECKING, Annotated, Literal

from fastapi import APIRouter, Form, Query, Response
from pydantic import BaseModel, Field

from server import audit
from server.deps import Db, LinkedChild, LinkedSession, Now, Therapist
from server.downloads import pdf_answer
from server.page_family import MOST_SENT, FamilyTexts, cleaned, family_form
from server.page_family_print import NotPrinted, data_address, family_pdf, family_print
from server.problems import NEVER_CACHED
from server.routes_pages import page

if TYPE_CHECKING:
    from server.page_then_and_now import ThenAndNow

router = APIRouter(include_in_schema=False)

HERE = "/caseload"
Words = Annotated[str, Field(max_length=MOST_SENT)]


class FamilyForm(BaseModel):
    """What the form of the family page sends; nothing of it is stored."""

    did: Words = ""
    alone: Words = ""
    helped: Words = ""
    breaks: Words = ""
    home: Words = ""
    later: Words = ""
    picture: bool = False
    line: Annotated[str, Field(max_length=36)] = ""
    scissors: bool = False
    do: Literal["page", "pdf", "change"] = "page"

    def texts(self) -> FamilyTexts:
        """Return the words, cleaned."""
        return cleaned(FamilyTexts(**self.model_dump(exclude={"do"})))


@router.get("/sessions/{session_id}/family")
def show_family(seen: LinkedSession, account: Therapist, db: Db) -> Response:
    """Show the words for a family, drafted, to be changed."""
    return page("family.html", account, HERE, **family_form(db, seen))


@router.post("/sessions/{session_id}/family")
def print_family(
    form: Annotated[FamilyForm, Form()], seen: LinkedSession, account: Therapist, db: Db, now: Now
) -> Response:
    """Show the page to print, or give it as PDF, or go back to its words. Nothing is stored."""
    texts = form.texts()
    if form.do == "change":
        return page("family.html", account, HERE, **family_form(db, seen, texts))
    try:
        words = family_print(db, seen, texts)
    except NotPrinted as refusal:
        again = family_form(db, seen, texts, str(refusal), refusal.troubles)
        return page("family.html", account, HERE, 422, **again)
    session_id = seen.session.id
    audit.note(db, now, account.id, "printed", "family_page", session_id, child_id=seen.child.id)
    db.commit()
    if form.do == "pdf":
        return pdf_answer(family_pdf(words), "family")
    shown = words | {"picture": data_address(words["picture"])}
    return page("family-print.html", account, HERE, **shown)


class ThenAndNowChoice(BaseModel):
    """What is chosen on the page of then and now; sessions by their ids."""

    measure: Annotated[str | None, Field(max_length=80)] = None
    tasks: Literal["probes", "all"] = "probes"
    first: Annotated[str | None, Field(max_length=36)] = None
    last: Annotated[str | None, Field(max_length=36)] = None
    each: Annotated[int, Field(ge=1, le=3)] = 2
    narrow: bool = False


Choice = Annotated[ThenAndNowChoice, Query()]


def _then_and_now(db: Db, child: LinkedChild, choice: Choice) -> "ThenAndNow":
    # Reading stored results needs the analysis, which takes a second to load.
    from server.page_then_and_now import then_and_now
    from server.then_and_now_store import Chosen

    chosen = Chosen(choice.measure, choice.tasks, choice.first, choice.last, choice.each)
    return then_and_now(db, child, chosen)


@router.get("/children/{child_id}/then-and-now")
def show_then_and_now(child: LinkedChild, account: Therapist, db: Db, choice: Choice) -> Response:
    """Show the first and the latest sessions of a child side by side."""
    found = _then_and_now(db, child, choice)
    return page("then-and-now.html", account, HERE, **found.words)


@router.get("/children/{child_id}/then-and-now.svg")
def draw_then_and_now(child: LinkedChild, db: Db, choice: Choice) -> Response:
    """Draw then and now on one scale."""
    from server.figures_style import render
    from server.figures_then_and_now import then_and_now_figure

    found = _then_and_now(db, child, choice)
    figure = then_and_now_figure(found.rows, found.measure, narrow=choice.narrow)
    return Response(render(figure, "svg"), media_type="image/svg+xml", headers=NEVER_CACHED)


@router.get("/children/{child_id}/then-and-now.pdf")
def print_then_and_now(
    child: LinkedChild, account: Therapist, db: Db, now: Now, choice: Choice
) -> Response:
    """Give then and now as PDF."""
    from server.page_then_and_now import then_and_now_pdf

    body = then_and_now_pdf(_then_and_now(db, child, choice))
    audit.note(db, now, account.id, "exported", "then_and_now", child.id, child_id=child.id)
    db.commit()
    return pdf_answer(body, "then-and-now")
