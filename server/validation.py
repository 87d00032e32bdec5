"""From pydantic's list of errors to faults: a path and a sentence, nothing of the input."""

from collections.abc import Iterator, Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from server.faults import BadDocument, Fault, pointer
from server.fields import (
    CODE_PATTERN,
    EACH,
    LABEL_PATTERN,
    LINE_PATTERN,
    ONE,
    TEXT_PATTERN,
    UUID_PATTERN,
)

MOST_FAULTS = 20
TOO_LARGE = "too_long"

DAY = "This must be a day as in 2026-03-03."
SENTENCES = {
    "missing": "This key is needed and is not there.",
    "model_type": "This must be an object.",
    "model_attributes_type": "This must be an object.",
    "dict_type": "This must be an object.",
    "list_type": "This must be a list.",
    "float_type": "This must be a number.",
    "int_type": "This must be a whole number.",
    "int_from_float": "This must be a whole number.",
    "bool_type": "This must be true or false.",
    "string_type": "This must be text.",
    "literal_error": "This must be {expected}.",
    "greater_than": "This number must be above {gt:g}.",
    "greater_than_equal": "This number must be at least {ge:g}.",
    "less_than_equal": "This number must be at most {le:g}.",
    "string_too_long": "This text may have at most {max_length} characters.",
    TOO_LARGE: "This list may hold at most {max_length} entries.",
    "pair": "This must be a list of two numbers.",
    "string_too_short": "This text must not be empty.",
    "extra_forbidden": "This is not a key that can be given here.",
    "date_type": DAY,
    "date_parsing": DAY,
    "date_from_datetime_parsing": DAY,
    "date_from_datetime_inexact": DAY,
    "month": "This must be a month as in 2026-03.",
    "moment": "This must be a date and time with its offset, as in 2026-03-03T09:14:07.120Z.",
}
PATTERN_SENTENCES = {
    UUID_PATTERN: "This must be a UUID in lower case: 32 hex digits and four hyphens.",
    CODE_PATTERN: "This must be an id: letters, digits and . _ : - only.",
    LABEL_PATTERN: "This must be a word in lower case: letters, digits and _ only.",
    LINE_PATTERN: "This text must not hold control characters.",
    TEXT_PATTERN: "This text must not hold control characters other than line breaks.",
}
OTHER = "This value does not fit the format."

Model = TypeVar("Model", bound=BaseModel)


def sentence_of(error: Mapping[str, Any]) -> str:
    """Return the sentence for one of pydantic's errors, which never quotes the input."""
    context: Mapping[str, Any] = error.get("ctx", {})
    if error["type"] == "string_pattern_mismatch":
        return PATTERN_SENTENCES.get(context["pattern"], OTHER)
    return SENTENCES.get(error["type"], OTHER).format(**context)


def names_of(model: type[BaseModel]) -> frozenset[str]:
    """Return every key that a document of this model may have, at any depth."""
    return frozenset(_names(model.model_json_schema()))


def _names(schema: Any) -> Iterator[str]:
    if isinstance(schema, dict):
        properties = schema.get("properties")
        if isinstance(properties, dict):
            yield from properties
        for inner in schema.values():
            yield from _names(inner)
    elif isinstance(schema, list):
        for inner in schema:
            yield from _names(inner)


def faults_of(error: ValidationError, known: frozenset[str]) -> list[Fault]:
    """Return the faults that pydantic found, the first 20 of them.

    Parameters
    ----------
    error : ValidationError
        What pydantic raised.
    known : frozenset of str
        The names that the format defines.

    Returns
    -------
    list of Fault
        In the order of the document.
    """
    details = error.errors(include_url=False, include_input=False)[:MOST_FAULTS]
    return [Fault(pointer(_steps(one["loc"]), known), sentence_of(one)) for one in details]


def _steps(place: tuple[int | str, ...]) -> Iterator[int | str]:
    return (step for step in place if step not in (ONE, EACH))


def validated(model: type[Model], tree: Any, known: frozenset[str]) -> Model:
    """Return `tree` as a checked `model`.

    Parameters
    ----------
    model : type
        The pydantic model of the format.
    tree : object
        Plain python values.
    known : frozenset of str
        The names that the format defines.

    Returns
    -------
    BaseModel
        The document.

    Raises
    ------
    BadDocument
        With every fault found; status 413 if a list is too long.
    """
    try:
        return model.model_validate(tree)
    except ValidationError as error:
        kinds = {one["type"] for one in error.errors(include_url=False, include_input=False)}
        status = 413 if TOO_LARGE in kinds else 422
        raise BadDocument(faults_of(error, known), status=status) from None
