"""``/api/openapi.json`` tells the truth: every route is asked, and held against it."""

import json
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from jsonschema import Draft202012Validator

from server.app import create_app
from server.problems import PROBLEM_JSON
from server.schemas import all_schemas
from tests.practice import NOON, Clock, settings_for
from tests.problem_form import assert_problem
from tests.rights import CALLERS, World, make_world, read_table, routes_of
from tests.rights_requests import request_for

Spec = dict[str, Any]

EXPECTED = read_table()
ITSELF = "GET /api/openapi.json"
TOLD = [route for route in EXPECTED if " /api/" in route and route != ITSELF]
# Two successes that do not mean "the same again".
TWO_WAYS = "POST /api/join"
METHODS = {"get", "put", "post", "patch", "delete"}


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory) -> World:
    return make_world(tmp_path_factory.mktemp("openapi"))


@pytest.fixture(scope="module")
def spec(tmp_path_factory: pytest.TempPathFactory) -> Spec:
    # As it travels: never started, for the description asks nothing of the database.
    app = create_app(settings_for(tmp_path_factory.mktemp("spec") / "none.sqlite3"), Clock())
    found: Spec = TestClient(app).get("/api/openapi.json").json()
    return found


def operation_of(spec: Spec, route: str) -> Spec:
    method, path = route.split(" ")
    found: Spec = spec["paths"][path][method.lower()]
    return found


def validator(spec: Spec, schema: Spec) -> Draft202012Validator:
    return Draft202012Validator({**schema, "components": spec["components"]})


def success_of(route: str) -> tuple[str, int]:
    """Who is answered by a route, the linked assistant first, and with which status."""
    row = EXPECTED[route]
    caller = next(one for one in ("linked", *CALLERS) if row[one] < 300)
    return caller, row[caller]


def told_of(spec: Spec, responses: Spec, status: int) -> Spec:
    """What a description says of a status, by itself or by its hundred."""
    key = str(status) if str(status) in responses else f"{status // 100}XX"
    return looked_up(spec, responses[key])


def looked_up(spec: Spec, told: Spec) -> Spec:
    """A response, where it is only named."""
    if "$ref" not in told:
        return told
    found: Spec = spec["components"]["responses"][told["$ref"].rpartition("/")[2]]
    return found


def check_answer(spec: Spec, responses: Spec, answer: Any) -> None:
    content = told_of(spec, responses, answer.status_code).get("content")
    if content is None:
        assert (answer.content, answer.headers.get("content-type")) == (b"", None)
        return
    media_type = answer.headers["content-type"].partition(";")[0]
    schema = content[media_type].get("schema")
    if schema is not None:
        validator(spec, schema).validate(answer.json())


def walked(value: Any) -> Iterator[Any]:
    yield value
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    for one in inner:
        yield from walked(one)


# By itself


def test_every_route_for_programs_is_described(world: World, tmp_path: Path, spec: Spec) -> None:
    with world.running(tmp_path) as practice:
        routes = {route for route in routes_of(practice.app) if " /api/" in route}
    assert routes - {ITSELF} == set(TOLD)
    described = {
        f"{method.upper()} {path}" for path, methods in spec["paths"].items() for method in methods
    }
    assert {route for route in described if " /api/" in route} == set(TOLD)


def test_it_is_a_sound_document_that_refers_to_nothing_outside(spec: Spec) -> None:
    assert spec["openapi"].startswith("3.1")
    references = {one["$ref"] for one in walked(spec) if isinstance(one, dict) and "$ref" in one}
    assert references
    for reference in references:
        start, kind, name = reference.rsplit("/", 2)
        assert start == "#/components", reference
        assert name in spec["components"][kind], reference
    for schema in spec["components"]["schemas"].values():
        Draft202012Validator.check_schema(schema)
    operations = [one for methods in spec["paths"].values() for one in methods.values()]
    assert max(Counter(one["operationId"] for one in operations).values()) == 1
    named = {name for one in operations for either in one["security"] for name in either}
    assert named == set(spec["components"]["securitySchemes"])


def test_its_parts_have_names_of_their_own_and_none_is_never_sent(spec: Spec) -> None:
    names = set(spec["components"]["schemas"])
    assert "Problem" in names
    assert {name for name in names if "__" in name} == set()
    assert names & {"HTTPValidationError", "ValidationError"} == set()
    assert "HTTPValidationError" not in json.dumps(spec)


def test_documents_are_described_as_they_are_published(spec: Spec) -> None:
    schemas = spec["components"]["schemas"]
    for name, published in all_schemas().items():
        text = json.dumps(published).replace("#/$defs/", "#/components/schemas/")
        moved = json.loads(text)
        parts = moved.pop("$defs", {})
        del moved["$schema"], moved["$id"]
        assert moved | {"externalDocs": {"url": f"/api/schemas/{name}"}} == schemas[moved["title"]]
        for part, schema in parts.items():
            held = {key: value for key, value in schemas[part].items() if key != "externalDocs"}
            assert held == schema, part


def test_the_form_of_errors_lets_no_other_through(spec: Spec) -> None:
    problem = validator(spec, {"$ref": "#/components/schemas/Problem"})
    sound = {
        "type": "about:blank",
        "title": "Conflict",
        "status": 409,
        "detail": "It is there.",
        "errors": [{"path": "/id", "detail": "It is there."}],
    }
    assert problem.is_valid(sound)
    assert not problem.is_valid(sound | {"errors": [{"loc": ["body"], "msg": "no"}]})
    assert not problem.is_valid({"detail": [{"loc": ["body"], "msg": "no"}]})
    assert not problem.is_valid(sound | {"status": 200})


@pytest.mark.parametrize("component", ["NewChild", "ChildChange"])
def test_a_child_s_sign_is_two_different_pictures_of_the_set(spec: Spec, component: str) -> None:
    body = validator(spec, {"$ref": f"#/components/schemas/{component}"})
    for sign, fits in (
        (["boat", "kite"], True),
        (["boat", "boat"], False),
        (["boat"], False),
        (["boat", "moon"], False),
    ):
        assert body.is_valid({"code": "BW-97", "sign": sign}) is fits, sign


# Each route


@pytest.mark.parametrize("route", TOLD)
def test_a_route_tells_what_it_is_for_who_may_ask_and_how_it_refuses(
    spec: Spec, route: str
) -> None:
    operation, row = operation_of(spec, route), EXPECTED[route]
    assert set(spec["paths"][route.split(" ")[1]]) <= METHODS
    assert operation["description"].partition("\n")[0].endswith(".")
    _, status = success_of(route)
    assert {key for key in operation["responses"] if key.startswith("2")} >= {str(status)}
    for refusal in ("4XX", "5XX", *({"422"} & set(operation["responses"]))):
        told = looked_up(spec, operation["responses"][refusal])
        assert told["description"]
        assert told["content"] == {
            PROBLEM_JSON: {"schema": {"$ref": "#/components/schemas/Problem"}}
        }
    in_path = {one["name"] for one in operation.get("parameters", []) if one["in"] == "path"}
    assert in_path == set(re.findall(r"{(\w+)}", route))
    closed = row["out"] == 401
    named = {name for either in operation["security"] for name in either}
    assert ("tablet" in named) == (closed and row["tablet"] != 401)
    assert ("cookie" in named) == (closed and row["linked"] != 401)


@pytest.mark.parametrize("route", TOLD)
def test_what_is_sent_and_answered_is_as_described(
    world: World, tmp_path: Path, spec: Spec, route: str
) -> None:
    operation = operation_of(spec, route)
    responses = operation["responses"]
    caller, status = success_of(route)
    with world.running(tmp_path) as practice:
        request = request_for(route, practice)
        client = world.as_caller(practice, caller)
        method, template = route.split(" ")
        path = template.format(**request.pop("at"))
        check_body(spec, operation, request)
        answer = client.request(method, path, **request)
        assert answer.status_code == status
        check_answer(spec, responses, answer)

        # The same once more: what is safe to repeat says so, and nothing else does.
        again = client.request(method, path, **request)
        check_answer(spec, responses, again)
        if status == 201:
            repeated = "200" in responses and route != TWO_WAYS
            assert (again.status_code == 200) is repeated
        tag = answer.headers.get("etag")
        assert (tag is not None) is ("304" in responses)
        if tag is not None:
            held = client.request(method, path, headers={"If-None-Match": tag})
            assert held.status_code == 304
            check_answer(spec, responses, held)


def check_body(spec: Spec, operation: Spec, request: Spec) -> None:
    """What the table of rights sends must fit, and must be asked for."""
    told = operation.get("requestBody", {})
    if "json" not in request and "content" not in request:
        assert not told.get("required", False)
        return
    sent = request["json"] if "json" in request else json.loads(request["content"])
    validator(spec, told["content"]["application/json"]["schema"]).validate(sent)


@pytest.mark.parametrize("route", TOLD)
def test_a_refusal_is_as_described(world: World, tmp_path: Path, spec: Spec, route: str) -> None:
    responses, row = operation_of(spec, route)["responses"], EXPECTED[route]
    by_status = {row[caller]: caller for caller in CALLERS if row[caller] >= 400}
    with world.running(tmp_path) as practice:
        request = request_for(route, practice)
        method, template = route.split(" ")
        path = template.format(**request.pop("at"))
        for status, caller in by_status.items():
            answer = world.as_caller(practice, caller).request(method, path, **request)
            assert_problem(answer, status)
            check_answer(spec, responses, answer)


def test_what_fastapi_itself_refuses_is_as_described(
    world: World, tmp_path: Path, spec: Spec
) -> None:
    route = "POST /api/children"
    with world.running(tmp_path) as practice:
        client = world.as_caller(practice, "linked")
        answer = client.post("/api/children", json={"code": 7, "born": NOON.isoformat()})
        assert_problem(answer, 422)
        check_answer(spec, operation_of(spec, route)["responses"], answer)
