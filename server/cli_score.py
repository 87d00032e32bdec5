"""``linnet score``: trial documents in, reports out, in the order given."""

import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

import typer

from server.cli_forms import Form, csv_lines, json_line
from server.cli_words import report_words
from server.dictionary import trial_cells, trial_columns
from server.documents import MAX_DOCUMENT_BYTES, TOO_LARGE, TrialDocument, read_trial
from server.faults import BadDocument, Fault
from server.guides import GuideFields, guide_of
from server.scoring import SCORING_FAILED, score
from server.strict_json import read_json
from server.validation import names_of, validated

# Which file a row is from is said by its place: a file's name may hold a child's.
PLACE_COLUMNS = ("input", "trial_id")
FAILED = "This trial could not be scored; its document is sound."

Write = Callable[[int, TrialDocument, dict[str, Any]], str]


def _csv_row(number: int, document: TrialDocument, report: dict[str, Any]) -> str:
    cells = trial_cells(document, report)
    names = [one.name for one in trial_columns()]
    return csv_lines([[number, document.trial_id, *(cells[name] for name in names)]])


def _json_row(_number: int, _document: TrialDocument, report: dict[str, Any]) -> str:
    return json_line(report) + "\n"


def _text_row(number: int, _document: TrialDocument, report: dict[str, Any]) -> str:
    return report_words(number, report) + "\n"


WRITERS: dict[Form, Write] = {Form.csv: _csv_row, Form.json: _json_row, Form.text: _text_row}


def _read(path: Path) -> bytes:
    with path.open("rb") as file:
        raw = file.read(MAX_DOCUMENT_BYTES + 1)
    if len(raw) > MAX_DOCUMENT_BYTES:
        raise BadDocument([Fault("", TOO_LARGE)], status=413)
    return raw


def _read_guide(path: Path) -> GuideFields:
    known = names_of(GuideFields)
    fields = validated(GuideFields, read_json(_read(path), known), known)
    guide_of(fields, path="")
    return fields


def _complain(path: Path, faults: Iterable[Fault]) -> None:
    for fault in faults:
        place = f"{fault.path}: " if fault.path else ""
        typer.echo(f"{path}: {place}{fault.detail}", err=True)


def _with_progress(files: Sequence[Path]) -> Iterator[Path]:
    # A bar between rows on one terminal would only be in the way.
    if len(files) < 2 or not sys.stderr.isatty() or sys.stdout.isatty():
        yield from files
        return
    from rich.console import Console
    from rich.progress import track

    yield from track(files, description="Scoring", console=Console(stderr=True))


def _score_file(path: Path, guide: GuideFields | None) -> tuple[TrialDocument, dict[str, Any]]:
    document = read_trial(_read(path))
    if guide is not None:
        document = document.with_guide(guide)
    return document, score(document)


def score_files(files: Sequence[Path], *, form: Form, guide_file: Path | None = None) -> int:
    """Score files one after the other and print each result as soon as it is there.

    Parameters
    ----------
    files : sequence of Path
        Trial documents.
    form : Form
        How results are written.
    guide_file : Path or None
        A guide (the object of DESIGN 3.1) that takes the place of each document's own.

    Returns
    -------
    int
        0, or 1 if any file could not be scored.
    """
    guide = None
    if guide_file is not None:
        try:
            guide = _read_guide(guide_file)
        except (BadDocument, OSError) as error:
            _complain(guide_file, _faults(error))
            return 1
    exit_code = 0
    if form is Form.csv:
        header = [*PLACE_COLUMNS, *(one.name for one in trial_columns())]
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
