"""Every error has one form, and none of them tells what the request held."""

from collections.abc import Iterator

import pytest
from fastapi import FastAPI, HTTPException
from fastapi.testclient import TestClient
from pydantic import BaseModel

from analysis.errors import BadGuide, BadOutline, BadTrace
from server.faults import BadDocument, Fault
from server.problems import Problem, install
from tests.problem_form import assert_problem

SECRET = "Quillfeather"


class Body(BaseModel):
    model_config = {"extra": "forbid"}
    code: str
    count: int = 0


RAISED: dict[str, tuple[Exception, int, str | None]] = {
    "problem": (Problem(409), 409, None),
    "document": (BadDocument([Fault("/seq", "This must be text.")], status=413), 413, "/seq"),
    "trace": (BadTrace(SECRET), 422, "/samples"),
    "guide": (BadGuide(SECRET), 422, "/guide"),
    "outline": (BadOutline(SECRET), 422, "/outline"),
    "http": (HTTPException(403, SECRET), 403, None),
    "odd": (HTTPException(499, SECRET), 499, None),
    "crash": (RuntimeError(SECRET), 500, None),
}


@pytest.fixture
def client() -> Iterator[TestClient]:
    app = FastAPI(openapi_url=None)
    install(app)

    @app.get("/raise/{kind}")
    @app.get("/api/raise/{kind}")
    def fails(kind: str) -> None:
        raise RAISED[kind][0]

    @app.post("/api/body")
    def takes(body: Body) -> None:
        """Take a body."""

    @app.get("/api/query")
    def asks(measure: str, count: int = 0) -> None:
        """Take a query."""

    with TestClient(app, raise_server_exceptions=False) as made:
        yield made


@pytest.mark.parametrize("kind", RAISED)
def test_whatever_is_raised_answers_in_the_one_form(client: TestClient, kind: str) -> None:
    _, status, path = RAISED[kind]
    response = client.get(f"/api/raise/{kind}")
    assert_problem(response, status, path)
    assert SECRET not in response.text


def test_an_unknown_address_and_an_unknown_method_answer_in_the_one_form(client) -> None:
    assert_problem(client.get(f"/api/{SECRET}"), 404)
    assert_problem(client.delete("/api/body"), 405)
    assert client.delete("/api/body").headers["allow"] == "POST"


@pytest.mark.parametrize(
    ("body", "path"),
    [
        (b"{", ""),
        (b"[]", ""),
        (b"{}", "/code"),
        (b'{"code": 7}', "/code"),
        (b'{"code": "a", "count": "Quillfeather"}', "/count"),
        (b'{"code": "a", "Quillfeather": 1}', ""),
    ],
)
def test_a_bad_body_names_the_field_and_repeats_nothing(
    client: TestClient, body: bytes, path: str
) -> None:
    response = client.post("/api/body", content=body, headers={"Content-Type": "application/json"})
    assert_problem(response, 422, path)
    assert SECRET not in response.text


def test_a_body_that_is_not_text_answers_in_the_one_form(client: TestClient) -> None:
    headers = {"Content-Type": "application/json"}
    assert_problem(client.post("/api/body", content=b"\xff", headers=headers), 400)


def test_a_bad_query_names_the_parameter_and_repeats_nothing(client: TestClient) -> None:
    assert_problem(client.get("/api/query"), 422, "/measure")
    response = client.get("/api/query", params={"measure": "a", "count": SECRET})
    assert_problem(response, 422, "/count")
    assert SECRET not in response.text


def test_people_get_a_page_and_programs_json(client: TestClient) -> None:
    page = client.get("/raise/crash", headers={"Accept": "text/html,*/*"})
    assert page.status_code == 500
    assert page.headers["content-type"].startswith("text/html")
    assert page.headers["cache-control"] == "no-store"
    assert "What was stored before is safe." in page.text
    assert SECRET not in page.text
    assert_problem(client.get("/api/raise/crash", headers={"Accept": "text/html"}), 500)
    assert_problem(client.get("/raise/crash", headers={"Accept": "application/json"}), 500)


def test_a_problem_can_carry_headers_and_its_own_words() -> None:
    problem = Problem(429, "Wait a minute.", title="Too fast", headers={"Retry-After": "60"})
    assert problem.as_dict()["detail"] == "Wait a minute."
    assert problem.as_dict()["title"] == "Too fast"
    assert problem.headers == {"Retry-After": "60"}
    assert str(problem) == "429 Too fast"
