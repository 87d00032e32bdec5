"""A note as plain text and on paper, from the words of its page."""

from collections.abc import Iterator, Mapping
from typing import Any

from server.numbers import NO_BREAK
from server.printed import Block, Heading, Paragraph, Table, printed

EMPTY = "(empty)"
HEAD = ("Task, hand, direction", "Met (95 % interval)", "Not counted")
NOT_SIGNED = "Not signed."


def as_text(words: Mapping[str, Any]) -> str:
    """Return a note as plain text, with its signatures and cautions.

    Parameters
    ----------
    words : mapping
        Of `server.page_note.note_page`.
    """
    lines = [f"Note: {words['child'].name}, {words['day']}", words["state"], ""]
    lines += [f"{one.label}: {one.words}" for one in words["facts"]]
    lines += [f"Goal: {one}" for one in words["goals"]]
    for section in words["sections"]:
        lines += ["", section.title, section.kept.strip() or EMPTY]
    lines += ["", _title("Numbers", words), *_count_lines(words)]
    lines += ["", *_foot(words), "", *words["cautions"]]
    return "\n".join(lines).replace(NO_BREAK, " ") + "\n"


def as_pdf(words: Mapping[str, Any]) -> bytes:
    """Return a note as PDF; `words` are those of `server.page_note.note_page`."""
    title = f"Note: {words['child'].name}, {words['day']}"
    return printed(title, list(_blocks(words)), words["cautions"])


def _blocks(words: Mapping[str, Any]) -> Iterator[Block]:
    yield Paragraph(words["state"], muted=True)
    yield Heading(_title("Session", words))
    yield Table(("What", "As noted"), [(one.label, one.words) for one in words["facts"]])
    if words["goals"]:
        yield Heading("Goals", level=3)
        yield Paragraph("\n".join(words["goals"]))
    for section in words["sections"]:
        yield Heading(section.title)
        yield Paragraph(section.kept.strip() or EMPTY, muted=not section.kept.strip())
    if words["rows"]:
        yield Heading(_title("Numbers", words))
        if words["asked"]:
            yield Paragraph(f"{words['asked']}.")
        yield _table(words)
    yield Heading("Signatures")
    yield Paragraph("\n".join(_foot(words)))


def _title(what: str, words: Mapping[str, Any]) -> str:
    return f"{what} as signed" if words["is_signed"] else what


def _count_lines(words: Mapping[str, Any]) -> Iterator[str]:
    """Yield k of n, a line for each task, hand and direction."""
    if not words["rows"]:
        yield "No trial came in."
    if words["asked"]:
        yield f"{words['asked']}:"
    for row in words["rows"]:
        task, met, left_out = _cells(row, asked=not words["asked"])
        others = f"; not counted: {left_out}" if row.left_out else ""
        yield f"{'; '.join(task.splitlines())}: {met}{others}"


def _table(words: Mapping[str, Any]) -> Table:
    columns = len(HEAD) if words["some_left_out"] else len(HEAD) - 1
    rows = [_cells(row, asked=not words["asked"])[:columns] for row in words["rows"]]
    return Table(HEAD[:columns], rows, frozenset({1}))


def _cells(row: Any, *, asked: bool) -> list[str]:
    task = ", ".join(word for word in (row.task, row.direction) if word)
    met = f"{row.met} ({row.interval})" if row.interval else row.met
    lines = [task, *([row.asked] if asked else []), *([row.help] if row.help else [])]
    return ["\n".join(lines), met, row.left_out or "–"]


def _foot(words: Mapping[str, Any]) -> Iterator[str]:
    """Yield signatures, what changed since, addenda, and by which release was computed."""
    for what, who, when in words["signatures"]:
        yield f"{what}: {who}, {when}" if who else f"{what}: {when}"
    if not words["signatures"]:
        yield NOT_SIGNED
    for one in words["addenda"]:
        yield f"Addendum, {one.when}, {one.words}: {one.text}"
    if words["changed"]:
        yield "Changed since signing:"
        yield from words["changed"]
    yield f"Numbers computed by analysis version {words['version']}."
