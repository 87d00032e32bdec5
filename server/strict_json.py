"""JSON as RFC 8259 has it, and nothing more: what other readers let pass is refused here."""

import json
import math
from typing import Any

from server.faults import BadDocument, Fault, pointer

MAX_DEPTH = 32
LONGEST_INTEGER = 19

NOT_UTF8 = "The document must be UTF-8 text: byte {at} is not."
BYTE_ORDER_MARK = "The document must not start with a byte order mark."
NOT_JSON = "The document is not JSON: look at line {line}, column {column}."
TOO_DEEP = f"Objects and lists may be nested at most {MAX_DEPTH} deep."
DOUBLED = "A key may be given once in an object, and this one is given more than once."
NOT_FINITE = "A number must be finite: write null or leave it out where nothing was measured."
NOT_TEXT = "Text must be whole characters: there is half of a surrogate pair."


class _Doubled:
    """Stands in the tree for an object that names a key twice."""

    def __init__(self, key: str) -> None:
        self.key = key


def _object(pairs: list[tuple[str, Any]]) -> Any:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            return _Doubled(key)
        found[key] = value
    return found


def _integer(digits: str) -> int | float:
    # A longer one fits no field and would be slow to convert; as a float it is out of range too.
    return int(digits) if len(digits) <= LONGEST_INTEGER else float(digits)


def _is_text(text: str) -> bool:
    return text.isascii() or not any("\ud800" <= character <= "\udfff" for character in text)


def _first_fault(value: Any, depth: int = 0) -> tuple[list[str | int], str] | None:
    """Return place and sentence of the first fault below `value`, depth first."""
    if isinstance(value, float):
        return None if math.isfinite(value) else ([], NOT_FINITE)
    if isinstance(value, str):
        return None if _is_text(value) else ([], NOT_TEXT)
    if isinstance(value, _Doubled):
        return ([value.key], DOUBLED)
    if not isinstance(value, dict | list):
        return None
    if depth >= MAX_DEPTH:
        return ([], TOO_DEEP)
    for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
        if isinstance(key, str) and not _is_text(key):
            return ([], NOT_TEXT)
        found = _first_fault(inner, depth + 1)
        if found:
            # The place is put together on the way back: sound documents never pay for it.
            steps, sentence = found
            return ([key, *steps], sentence)
    return None


def _text(raw: bytes) -> str:
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise BadDocument([Fault("", NOT_UTF8.format(at=error.start))]) from None
    if text.startswith("\ufeff"):
        raise BadDocument([Fault("", BYTE_ORDER_MARK)])
    return text


def read_json(raw: bytes, known: frozenset[str]) -> Any:
    """Read one JSON document.

    Parameters
    ----------
    raw : bytes
        The document as received. Its size is for the caller to bound.
    known : frozenset of str
        The names that the format defines: only they may appear in the path of a fault.

    Returns
    -------
    object
        Plain python values without duplicate keys, NaN or infinity.

    Raises
    ------
    BadDocument
        If the bytes are not JSON in UTF-8, or say one key twice, hold a number that is not
        finite, or are nested too deeply.

    Examples
    --------
    >>> read_json(b'{"seq": 7}', frozenset({"seq"}))
    {'seq': 7}
    """
    text = _text(raw)
    try:
        tree = json.loads(text, object_pairs_hook=_object, parse_int=_integer)
    except json.JSONDecodeError as error:
        sentence = NOT_JSON.format(line=error.lineno, column=error.colno)
        raise BadDocument([Fault("", sentence)]) from None
    except RecursionError:
        raise BadDocument([Fault("", TOO_DEEP)]) from None
    found = _first_fault(tree)
    if found:
        steps, sentence = found
        raise BadDocument([Fault(pointer(steps, known), sentence)])
    return tree
