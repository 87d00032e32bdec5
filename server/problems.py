"""The one form of errors: ``application/problem+json`` (RFC 9457), or a page for people."""

from collections.abc import Mapping, Sequence
from functools import cache
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse
from jinja2 import Environment, PackageLoader, TemplateNotFound
from starlette.exceptions import HTTPException

from analysis.errors import AnalysisError
from server.faults import BadDocument, Fault, pointer
from server.typed_texts import Texts, typed_texts
from server.validation import sentence_of

PROBLEM_JSON = "application/problem+json"
NEVER_CACHED = {"Cache-Control": "no-store"}

# Plain words for the answers that people meet: what happened, and what to do next.
DETAILS = {
    400: "What was sent could not be read. Nothing of it was stored.",
    401: "You are not signed in, or your sign-in has ended. Sign in and try again.",
    403: "Your account may not do this.",
    404: "There is nothing here that you can see. Check the link, or go back to your list.",
    405: "This address does not take that kind of request.",
    409: "Something else is already stored under this id. It was not changed.",
    410: "The record this belongs to was erased. Nothing of what was sent was kept.",
    413: "What was sent is too large. Nothing of it was stored.",
    415: "What was sent is of another kind than this address takes.",
    422: "What was sent does not fit. Nothing of it was stored.",
    429: "That was tried too often. Wait a little and try again.",
    500: "Something went wrong on this server. What was stored before is safe. Try again.",
    503: "The server cannot store anything just now; its disk may be full. Keep what you have and "
    "try again later.",
}
# What came with a form is shown once more.
NOT_TAKEN = (403, 404, 409, 410, 422)
# Where the errors say what it collides with.
CLASH = "What was sent does not go together with what is stored. Nothing of it was stored."
OTHER_DETAIL = "This request could not be answered."
PATHS = {"bad_trace": "/samples", "bad_guide": "/guide", "bad_outline": "/outline"}
UNMEASURABLE = "This part of the document cannot be measured."


class Problem(Exception):
    """An answer that is an error.

    Parameters
    ----------
    status : int
        HTTP status.
    detail : str or None
        One sentence or two for people; the usual one of the status if None.
    errors : sequence of Fault
        Where the request is wrong, if that can be said.
    title : str or None
        A few words; the usual ones of the status if None.
    headers : mapping or None
        Further header fields, for example ``Retry-After``.
    """

    def __init__(
        self,
        status: int,
        detail: str | None = None,
        *,
        errors: Sequence[Fault] = (),
        title: str | None = None,
        headers: Mapping[str, str] | None = None,
    ) -> None:
        self.status = status
        self.title = title or _title(status)
        usual = CLASH if status == 409 and errors else DETAILS.get(status, OTHER_DETAIL)
        self.detail = detail or usual
        self.errors = list(errors)
        self.headers = dict(headers or {})
        super().__init__(f"{status} {self.title}")

    @property
    def by_place(self) -> dict[str, str]:
        """What is wrong, by the place it belongs to; under "" if it belongs to none."""
        return {fault.path: fault.detail for fault in self.errors} or {"": self.detail}

    def as_dict(self) -> dict[str, Any]:
        """Return the members of the problem document."""
        return {
            "type": "about:blank",
            "title": self.title,
            "status": self.status,
            "detail": self.detail,
            "errors": [fault._asdict() for fault in self.errors],
        }


def _title(status: int) -> str:
    try:
        return HTTPStatus(status).phrase
    except ValueError:
        return "Error"


def wants_page(request: Request) -> bool:
    """Return whether a problem is shown to a person who looks at pages, not to a program."""
    accept = request.headers.get("accept", "")
    return "text/html" in accept and not request.url.path.startswith("/api")


@cache
def _templates() -> Environment:
    return Environment(loader=PackageLoader("web", "desk"), autoescape=True)


def _page(problem: Problem, typed: Texts, *, is_form: bool) -> str | None:
    try:
        template = _templates().get_template("problem.html")
    except TemplateNotFound:
        return None
    return template.render(
        title=problem.title,
        status=problem.status,
        detail=problem.detail,
        errors=problem.errors,
        typed=typed,
        not_stored=is_form and problem.status in (403, 404),
        too_long=is_form and problem.status == 413,
    )


def respond(request: Request, problem: Problem, typed: Texts | None = None) -> Response:
    """Return the answer for a problem: a page for people who look at pages, else JSON.

    Parameters
    ----------
    request : Request
        What was asked.
    problem : Problem
        What went wrong.
    typed : list or None
        What was typed in the form that was sent, of `typed_texts`.

    Returns
    -------
    Response
        With the status of the problem, never cached.
    """
    headers = NEVER_CACHED | problem.headers
    is_form = request.method == "POST"
    page = _page(problem, typed or [], is_form=is_form) if wants_page(request) else None
    if page is not None:
        return HTMLResponse(page, problem.status, headers)
    return JSONResponse(problem.as_dict(), problem.status, headers, media_type=PROBLEM_JSON)


def _request_fault(error: Mapping[str, Any]) -> Fault:
    if error["type"] == "json_invalid":
        return Fault("", "The body is not JSON.")
    steps = error["loc"][1:]
    # A key that is not a field is the sender's own word: the path stops before it.
    ours = steps[:-1] if error["type"] == "extra_forbidden" else steps
    known = frozenset(step for step in ours if isinstance(step, str))
    return Fault(pointer(steps, known), sentence_of(error))


def problem_of(error: Exception) -> Problem:
    """Return the problem that tells of an error, without a word of its own text.

    Parameters
    ----------
    error : Exception
        What was raised while answering.

    Returns
    -------
    Problem
        500 for everything that is not known here.
    """
    match error:
        case Problem():
            return error
        case BadDocument():
            return Problem(error.status, errors=error.faults)
        case AnalysisError():
            return Problem(422, errors=[Fault(PATHS.get(error.code, ""), UNMEASURABLE)])
        case RequestValidationError():
            return Problem(422, errors=[_request_fault(one) for one in error.errors()])
        case HTTPException():
            return Problem(error.status_code, headers=error.headers)
        case _:
            return Problem(500)


async def _answer(request: Request, error: Exception) -> Response:
    problem = problem_of(error)
    shows = problem.status in NOT_TAKEN and wants_page(request)
    return respond(request, problem, await typed_texts(request) if shows else None)


def install(app: FastAPI) -> None:
    """Make every error of an application answer in the one form.

    Parameters
    ----------
    app : FastAPI
        The application.
    """
    kinds = (Problem, BadDocument, AnalysisError, RequestValidationError, HTTPException, Exception)
    for kind in kinds:
        app.add_exception_handler(kind, _answer)
