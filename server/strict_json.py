"""JSON as RFC 8259 has it, and nothing more: what other readers let pass is refused here."""

import json
import math
from typing import Any

from server.faults import BadDocument, Fault, pointer

# Twenty minutes at 240 Hz with every column come to about 15 million bytes.
MAX_DOCUMENT_BYTES = 16 * 1024 * 1024
MAX_DEPTH = 32
# Eight columns of 200 000 samples and a guide of 10 000 points come to about 1 630 000 values.
MAX_VALUES = 2_000_000
# Points, parts, targets and marks are lists and objects; they come to about 11 000.
MAX_NESTS = 100_000
LONGEST_INTEGER = 19

TOO_LARGE = f"The document may have at most {MAX_DOCUMENT_BYTES} bytes."
NOT_UTF8 = "The document must be UTF-8 text: byte {at} is not."
BYTE_ORDER_MARK = "The document must not start with a byte order mark."
TOO_MANY_VALUES = f"The document may hold at most {MAX_VALUES} values."
TOO_MANY_NESTS = f"The document may hold at most {MAX_NESTS} objects and lists."
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


def _check_size(raw: bytes) -> None:
    """Refuse what would take long to build, before any of it is built.

    A comma or a bracket inside a text counts too: documents have few of those.
    """
    if len(raw) > MAX_DOCUMENT_BYTES:
        raise BadDocument([Fault("", TOO_LARGE)], status=413)
    if raw.count(b",") >= MAX_VALUES:
        raise BadDocument([Fault("", TOO_MANY_VALUES)], status=413)
    if raw.count(b"{") + raw.count(b"[") > MAX_NESTS:
        raise BadDocument([Fault("", TOO_MANY_NESTS)], status=413)


def read_json(raw: bytes, known: frozenset[str]) -> Any:
    """Read one JSON document.

    Parameters
    ----------
    raw : bytes
        The document as received.
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
        finite, or are nested too deeply; with status 413 if they are too many, or hold too
        many values.

    Examples
    --------
    >>> read_json(b'{"seq": 7}', frozenset({"seq"}))
    {'seq': 7}
    """
    _check_size(raw)
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
