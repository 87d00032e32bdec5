"""``linnet score``: trials, cuts, entries and ink in, reports out, in the order given."""

import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from server.cli_forms import Form, csv_lines, json_line
from server.cli_words import cut_words, entry_words, report_words
from server.dictionary import cut_cells, entry_cells, scored_columns, trial_cells
from server.faults import BadDocument, Fault
from server.guides import GuideFields
from server.inputs import read_guide, read_input, score_input
from server.scoring import SCORING_FAILED
from server.strict_json import MAX_DOCUMENT_BYTES

if TYPE_CHECKING:
    from server.inputs import Input

# Which file a row is from is said by its place: a file's name may hold a child's.
PLACE_COLUMNS = ("input", "trial_id")
FAILED = "This could not be scored; its document is sound."
OPEN_GUIDE = (
    "The guide given is not one closed line: this cut is measured against its own template."
)

Write = Callable[[int, "Input", dict[str, Any]], str]


def _csv_row(number: int, document: "Input", report: dict[str, Any]) -> str:
    if document.format == "linnet-cut/1":
        trial_id, cells = None, cut_cells(document, report)
    elif document.format == "linnet-entry/1":
        trial_id, cells = None, entry_cells(document, report)
    else:
        trial_id, cells = document.trial_id, trial_cells(document, report)
    names = [one.name for one in scored_columns()]
    return csv_lines([[number, trial_id, *(cells.get(name) for name in names)]])


def _json_row(_number: int, _document: "Input", report: dict[str, Any]) -> str:
    return json_line(report) + "\n"


def _text_row(number: int, document: "Input", report: dict[str, Any]) -> str:
    if document.format == "linnet-cut/1":
        return cut_words(number, document, report) + "\n"
    if document.format == "linnet-entry/1":
        return entry_words(number, document, report) + "\n"
    return report_words(number, report) + "\n"


WRITERS: dict[Form, Write] = {Form.csv: _csv_row, Form.json: _json_row, Form.text: _text_row}


def _read(path: Path) -> bytes:
    # One byte more than is allowed, so that the reader can tell that it is too many.
    with path.open("rb") as file:
        return file.read(MAX_DOCUMENT_BYTES + 1)


def _complain(path: Path, faults: Iterable[Fault]) -> None:
    for fault in faults:
        place = f"{fault.path}: " if fault.path else ""
        # By the name of the stream, which the progress bar puts itself in the place of.
        typer.echo(f"{path}: {place}{fault.detail}", file=sys.stderr, err=True)


def _with_progress(files: Sequence[Path]) -> Iterator[Path]:
    # A bar between rows on one terminal would only be in the way.
    if len(files) < 2 or not sys.stderr.isatty() or sys.stdout.isatty():
        yield from files
        return
    from rich.console import Console
    from rich.progress import track

    yield from track(files, description="Scoring", console=Console(stderr=True))


def _score_file(path: Path, guide: GuideFields | None) -> tuple["Input", dict[str, Any]]:
    document = read_input(_read(path))
    if guide is not None:
        other = document.with_guide(guide)
        if other is None:
            _complain(path, [Fault("", OPEN_GUIDE)])
        document = other or document
    return document, score_input(document)


def score_files(files: Sequence[Path], *, form: Form, guide_file: Path | None = None) -> int:
    """Score files one after the other and print each result as soon as it is there.

    Parameters
    ----------
    files : sequence of Path
        Trials, cuts, entries and ink.
    form : Form
        How results are written.
    guide_file : Path or None
        A guide (the object of a trial) that takes the place of each document's own; of the
        template of a cut only if it is closed.

    Returns
    -------
    int
        0, or 1 if any file could not be scored.
    """
    guide = None
    if guide_file is not None:
        try:
            guide = read_guide(_read(guide_file))
        except (BadDocument, OSError) as error:
            _complain(guide_file, _faults(error))
            return 1
    exit_code = 0
    if form is Form.csv:
        header = [*PLACE_COLUMNS, *(one.name for one in scored_columns())]
        typer.echo(csv_lines([header]), nl=False)
    for number, path in enumerate(_with_progress(files), start=1):
        try:
            document, report = _score_file(path, guide)
        except (BadDocument, OSError) as error:
            _complain(path, _faults(error))
            exit_code = 1
            continue
        if SCORING_FAILED in report["quality"]["flags"]:
            _complain(path, [Fault("", FAILED)])
            exit_code = 1
        typer.echo(WRITERS[form](number, document, report), nl=False)
    return exit_code


def _faults(error: BadDocument | OSError) -> list[Fault]:
    if isinstance(error, BadDocument):
        return error.faults
    return [Fault("", f"The file cannot be read: {error.strerror}.")]
