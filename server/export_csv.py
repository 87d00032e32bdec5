"""Tables as text by RFC 4180, safe to open in a spreadsheet."""

import csv
import io
from collections.abc import Iterable, Iterator

from server.columns import Cell, ColumnInfo

Row = dict[str, Cell]

BLOCK_LETTERS = 32 * 1024
# A spreadsheet takes a text that begins like this for a formula.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def cell_text(cell: Cell, kind: str) -> str:
    """Return a cell as it stands in the file.

    Parameters
    ----------
    cell : str, float, int, bool or None
        The value; None becomes empty.
    kind : str
        Type of its column. Only text is guarded against being taken for a formula, so
        that negative numbers stay numbers.

    Returns
    -------
    str
        Text without quotes; the writer adds those.

    Examples
    --------
    >>> cell_text("=1+1", "string"), cell_text(-1.5, "number"), cell_text(True, "boolean")
    ("'=1+1", '-1.5', 'true')
    """
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if kind == "string" and isinstance(cell, str) and cell.startswith(FORMULA_STARTS):
        return f"'{cell}"
    return str(cell)


def csv_blocks(columns: list[ColumnInfo], rows: Iterable[Row]) -> Iterator[str]:
    """Yield a table by RFC 4180, header first, in blocks of whole records.

    Parameters
    ----------
    columns : list of ColumnInfo
        In the order of the file.
    rows : iterable of dict
        By column name; a missing name is a fault.

    Yields
    ------
    str
        Records, each with its CRLF.
    """
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(column.name for column in columns)
    for row in rows:
        writer.writerow(cell_text(row[column.name], column.type) for column in columns)
        if buffer.tell() > BLOCK_LETTERS:
            yield buffer.getvalue()
            buffer.seek(0)
            buffer.truncate()
    yield buffer.getvalue()
