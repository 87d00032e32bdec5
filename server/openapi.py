"""The description of the interface at ``/api/openapi.json``: what is sent, answered, refused."""

from collections.abc import Callable, Iterator, Sequence
from typing import Any

from fastapi import FastAPI
from fastapi.dependencies.models import Dependant
from fastapi.openapi.utils import get_openapi
from fastapi.routing import APIRoute
from pydantic import BaseModel
from pydantic.json_schema import models_json_schema
from starlette.routing import BaseRoute

from server.deps import sender, signed_in, writing_tablet
from server.problems import DETAILS, PROBLEM_JSON

ABOUT = """
What the pages of Linnet do, for programs. Bodies and answers are JSON unless another kind is named.

Adults sign in at `/api/sign-in`, which sets a cookie; tablets get their token at `/api/pair`.
Ids are UUIDs. Where the sender makes the id, the same may be sent again: 201 the first time,
200 when it is there already, 409 when something else is.

Every answer of 400 or more has the one form `Problem`, as `application/problem+json` (RFC 9457).
"""
COMPONENTS = "#/components/schemas/"
# What FastAPI says of errors, and this application never sends.
NEVER_SENT = ("HTTPValidationError", "ValidationError")
PACKED = "The document as JSON. It may be packed with gzip: Content-Encoding is gzip or left out."
REPEATED: dict[int | str, dict[str, Any]] = {
    201: {"description": "It is stored now."},
    200: {
        "description": "The same is stored already. Nothing was changed.",
        "content": {"application/json": {"schema": {}}},
    },
}
HELD: dict[int | str, dict[str, Any]] = {
    304: {"description": "What is held, named by If-None-Match, is what there is."}
}
ASKS_AGAIN: dict[str, Any] = {
    "parameters": [
        {
            "name": "If-None-Match",
            "in": "header",
            "required": False,
            "schema": {"type": "string"},
            "description": "The ETag of the answer that is held.",
        }
    ]
}
PROBLEM: dict[str, Any] = {
    "title": "Problem",
    "description": "The one form of errors. Nothing that was sent is repeated in it.",
    "type": "object",
    "required": ["type", "title", "status", "detail", "errors"],
    "properties": {
        "type": {"const": "about:blank"},
        "title": {"type": "string", "description": "A few words on the status."},
        "status": {"type": "integer", "minimum": 400, "maximum": 599},
        "detail": {"type": "string", "description": "What happened, for people."},
        "errors": {
            "type": "array",
            "description": "Where the request is wrong, if that can be said.",
            "items": {
                "type": "object",
                "required": ["path", "detail"],
                "properties": {
                    "path": {
                        "type": "string",
                        "description": "JSON pointer (RFC 6901) into what was sent, or `/` and "
                        "the name of a query parameter; empty for all of it.",
                    },
                    "detail": {"type": "string", "description": "What is wrong, for people."},
                },
            },
        },
    },
}
SCHEMES = {
    "cookie": {
        "type": "apiKey",
        "in": "cookie",
        "name": "linnet",
        "description": "An adult's sign-in. Over https its name is `__Host-linnet`.",
    },
    "tablet": {"type": "http", "scheme": "bearer", "description": "The token of a paired tablet."},
}


def takes(component: str) -> dict[str, Any]:
    """Return the `openapi_extra` of a route that reads a document by itself."""
    content = {"application/json": {"schema": _ref(component)}}
    return {"requestBody": {"required": True, "description": PACKED, "content": content}}


def gives(*components: str, status: int = 200) -> dict[int | str, dict[str, Any]]:
    """Return the `responses` of a route that answers with a document of one of some kinds."""
    kinds = [_ref(one) for one in components]
    schema = kinds[0] if len(kinds) == 1 else {"anyOf": kinds}
    return {status: {"content": {"application/json": {"schema": schema}}}}


def gives_media(*media_types: str) -> dict[int | str, dict[str, Any]]:
    """Return the `responses` of a route that answers 200 with something else than JSON."""
    return {200: {"content": {one: {} for one in media_types}}}


def receipts(component: str) -> dict[int | str, dict[str, Any]]:
    """Return the `responses` of a route that stores an attempt, with the report in them."""
    schema = {
        "type": "object",
        "required": ["sha256", "report"],
        "properties": {
            "sha256": {"type": "string", "description": "Of the bytes stored, in hexadecimal."},
            "report": _ref(component),
        },
    }
    content = {"application/json": {"schema": schema}}
    return {status: one | {"content": content} for status, one in REPEATED.items()}


def described(app: FastAPI) -> dict[str, Any]:
    """Return the description of an application's interface.

    Parameters
    ----------
    app : FastAPI
        With all its routes.

    Returns
    -------
    dict
        An OpenAPI document, 3.1; every reference in it stays within it.
    """
    spec = get_openapi(title=app.title, version=app.version, description=ABOUT, routes=app.routes)
    components = spec["components"]
    bodies = {k: v for k, v in components["schemas"].items() if k not in NEVER_SENT}
    components["schemas"] = dict(sorted((_documents() | bodies | {"Problem": PROBLEM}).items()))
    components["responses"] = {"Refused": _problems(400), "Failed": _problems(500)}
    components["securitySchemes"] = SCHEMES
    for route in _routes(app.routes):
        for method in route.methods or ():
            operation = spec["paths"].get(route.path_format, {}).get(method.lower())
            if operation is not None:
                _complete(operation, route.dependant)
    return spec


def _complete(operation: dict[str, Any], dependant: Dependant) -> None:
    responses = operation["responses"]
    refused = {"$ref": "#/components/responses/Refused"}
    if "422" in responses:
        responses["422"] = refused
    responses |= {"4XX": refused, "5XX": {"$ref": "#/components/responses/Failed"}}
    operation["security"] = [{name: []} for name in _askers(set(_calls(dependant)))]


def _askers(calls: set[Callable[..., Any] | None]) -> list[str]:
    if sender in calls:
        return ["tablet", "cookie"]
    if writing_tablet in calls:
        return ["tablet"]
    return ["cookie"] if signed_in in calls else []


def _calls(dependant: Dependant) -> Iterator[Callable[..., Any] | None]:
    yield dependant.call
    for inner in dependant.dependencies:
        yield from _calls(inner)


def _routes(routes: Sequence[BaseRoute]) -> Iterator[APIRoute]:
    for route in routes:
        if isinstance(route, APIRoute):
            yield route
        # Some releases of FastAPI keep routers whole that were included.
        router = getattr(route, "original_router", None)
        if router is not None:
            yield from _routes(router.routes)


def _problems(first: int) -> dict[str, Any]:
    known = [f"- {one}: {DETAILS[one]}" for one in DETAILS if first <= one < first + 100]
    return {
        "description": "\n".join(known),
        "content": {PROBLEM_JSON: {"schema": _ref("Problem")}},
    }


def _documents() -> dict[str, Any]:
    # Loaded late: only who asks for the description needs the formats.
    from server.plan_items import SentPlan
    from server.schemas import FORMATS

    models: list[type[BaseModel]] = [*FORMATS.values(), SentPlan]
    _, found = models_json_schema(
        [(one, "validation") for one in models], ref_template=COMPONENTS + "{model}"
    )
    documents: dict[str, Any] = found["$defs"]
    for name, model in FORMATS.items():
        documents[model.__name__]["externalDocs"] = {"url": f"/api/schemas/{name}"}
    return documents


def _ref(component: str) -> dict[str, str]:
    return {"$ref": COMPONENTS + component}
