"""What may arrive in place of a sound request: wrong types, extremes, keys gone or too many."""

import json
from collections.abc import Iterator, Mapping
from typing import Any

Json = Any

# What no field takes, or takes only as what it is; then what overflows, or is no text.
WORDS = (None, 7, "", "a\0b", "\ud800", "x" * 9000)
DAYS = ("0001-01-01", "9999-12-31", "2026-02-30")
MOMENTS = ("0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", "2026-03-03T09:00:00")
NUMBERS = (None, "x", -1, 1.5, 10**30, float("nan"))
TRUTHS = (None, 2, [])
# Bodies that are wrong as a whole.
BODIES = (
    b"",
    b"null",
    b"[]",
    b"{",
    b"\xff\xfe",
    b"[" * 50_000,
    b'{"a":' * 10_000,
    b"1" * 6_000,
    b'"' + b"x" * 70_000 + b'"',
)
HEADERS: tuple[dict[str, str], ...] = (
    {"Content-Type": "text/plain"},
    {"Content-Type": "application/json; charset=utf-16"},
    {"Content-Type": "multipart/form-data; boundary=x; charset=undefined"},
    {"Content-Encoding": "gzip"},
    {"Content-Encoding": "br"},
)
IN_PATHS = ("%00", "%ED%A0%80", "9" * 400, "11111111-1111-4111-8111-11111111111A")
IN_QUERIES = ("", "\0", "-1", "9" * 400, "NaN", "0001-01-01", "9999-12-31")

Spec = Mapping[str, Any]


def mutated(body: Json, schema: Spec | None, spec: Spec) -> Iterator[str]:
    """Yield JSON texts that differ from a sound body in one place.

    Parameters
    ----------
    body : object
        The sound body.
    schema : mapping or None
        Its schema, which also tells of keys that the body does not have.
    spec : mapping
        The OpenAPI document that the schema stands in.
    """
    texts = (json.dumps(one) for one in _mutants(body, schema or {}, spec))
    yield from dict.fromkeys(texts)


def _kinds(schema: Spec, spec: Spec) -> Iterator[Spec]:
    """Yield what a value may be, one by one."""
    if "$ref" in schema:
        schema = spec["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
    several = schema.get("anyOf") or schema.get("oneOf")
    if several is None:
        yield schema
        return
    for one in several:
        yield from _kinds(one, spec)


def _mutants(value: Json, schema: Spec, spec: Spec) -> Iterator[Json]:
    kinds = list(_kinds(schema, spec))
    known: dict[str, Spec] = {}
    for kind in kinds:
        known |= kind.get("properties", {})
    if isinstance(value, dict) or (value is None and known):
        yield from (None, [])
        yield from _objects(value or {}, known, spec)
    elif isinstance(value, list):
        yield from (None, {}, [], value * 3000, [[value]])
        for inner in value[:1]:
            yield from ([one, *value[1:]] for one in _mutants(inner, {}, spec))
    else:
        yield from _scalars(value, kinds)


def _objects(value: dict[str, Json], known: Mapping[str, Spec], spec: Spec) -> Iterator[Json]:
    for extra in ("__proto__", "\ud800"):
        yield value | {extra: 1}
    for key in value:
        yield {other: inner for other, inner in value.items() if other != key}
    for key in {**value, **known}:
        for one in _mutants(value.get(key), known.get(key, {}), spec):
            yield value | {key: one}


def _scalars(value: Json, kinds: list[Spec]) -> Iterator[Json]:
    types = {kind.get("type") for kind in kinds}
    formats = {kind.get("format") for kind in kinds}
    if isinstance(value, bool) or "boolean" in types:
        yield from TRUTHS
    elif isinstance(value, int | float) or types & {"integer", "number"}:
        yield from NUMBERS
    else:
        yield from WORDS
    if "date" in formats:
        yield from DAYS
    if "date-time" in formats:
        yield from MOMENTS
