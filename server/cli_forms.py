"""Rows as CSV (RFC 4180) and JSON lines, for every command that prints tables."""

import csv
import io
from collections.abc import Iterable
from enum import StrEnum
from typing import Any

import orjson


class Form(StrEnum):
    """How results are written."""

    json = "json"
    csv = "csv"
    text = "text"


def csv_lines(rows: Iterable[Iterable[Any]]) -> str:
    r"""Return rows as CSV text with CRLF ends; None is empty, truth is ``true`` or ``false``.

    Examples
    --------
    >>> csv_lines([["a", None, True, -1.5]])
    'a,,true,-1.5\r\n'
    """
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerows([_cell(value) for value in row] for row in rows)
    return buffer.getvalue()


def _cell(value: Any) -> Any:
    return str(value).lower() if isinstance(value, bool) else value


def json_line(value: Any) -> str:
    """Return a value as JSON on one line, without the line's end.

    Examples
    --------
    >>> json_line({"value": None})
    '{"value":null}'
    """
    return orjson.dumps(value).decode()
