"""The ``linnet`` command. Each subcommand loads only what it needs: scoring starts in a second."""

import errno
import io
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from server.cli_forms import Form

app = typer.Typer(
    name="linnet",
    no_args_is_help=True,
    add_completion=False,
    # A traceback with local variables could show a child's data.
    pretty_exceptions_enable=False,
    help="Measures a child's line against a guide path.",
)


AsJson = Annotated[bool, typer.Option("--json", help="One JSON object a line.")]
AsCsv = Annotated[bool, typer.Option("--csv", help="RFC 4180 table with a header.")]
AsText = Annotated[bool, typer.Option("--text", help="Plain words (the default).")]
Database = Annotated[
    str | None,
    typer.Option("--database", metavar="FILE", help="Database file; see LINNET_DATABASE."),
]


def _form(*, as_json: bool, as_csv: bool, as_text: bool) -> Form:
    given = {Form.json: as_json, Form.csv: as_csv, Form.text: as_text}
    chosen = [form for form, is_given in given.items() if is_given]
    if len(chosen) > 1:
        raise typer.BadParameter("give one of --json, --csv and --text, not several")
    return chosen[0] if chosen else Form.text


@contextmanager
def _printing() -> Iterator[None]:
    """End with 1 and a sentence where the output cannot be written: a full disk, say."""
    try:
        yield
    except OSError as error:
        # A reader that has seen enough is no fault to tell; typer ends with 1 then.
        if error.errno == errno.EPIPE:
            raise
        typer.echo(f"The output cannot be written: {error.strerror}.", err=True)
        # What is still held back would fail once more on the way out.
        sys.stdout = io.StringIO()
        raise typer.Exit(1) from None


def _version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        typer.echo(f"linnet {version('linnet')}")
        raise typer.Exit


@app.callback()
def linnet(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Measure a child's line against a guide path. Linnet measures; a practitioner judges."""


@app.command()
def score(
    files: Annotated[
        list[Path], typer.Argument(metavar="FILE", help="Trials, cuts, entries or InkML ink.")
    ],
    as_json: AsJson = False,
    as_csv: AsCsv = False,
    as_text: AsText = False,
    guide: Annotated[
        Path | None,
        typer.Option(
            "--guide",
            metavar="FILE",
            help="Measure against this guide instead; ink has none itself.",
        ),
    ] = None,
) -> None:
    """Score trials, cuts, entries and ink without a server; results in the order of the files.

    What cannot be read is named on the error output; the rest is still scored.
    The command then ends with 1.
    """
    form = _form(as_json=as_json, as_csv=as_csv, as_text=as_text)
    from server.cli_score import score_files

    with _printing():
        raise typer.Exit(score_files(files, form=form, guide_file=guide))


@app.command()
def measures(as_json: AsJson = False, as_csv: AsCsv = False, as_text: AsText = False) -> None:
    """Print the handbook of measures: definition, formula, edge cases, reasons and source."""
    form = _form(as_json=as_json, as_csv=as_csv, as_text=as_text)
    from server.cli_measures import list_measures

    with _printing():
        list_measures(form)


@app.command()
def demo(
    port: Annotated[
        int, typer.Option("--port", min=0, max=65535, help="Port on 127.0.0.1; 0 takes a free one.")
    ] = 8421,
    as_json: Annotated[
        bool, typer.Option("--json", help="First print one line of JSON with links and sign-ins.")
    ] = False,
    database: Annotated[
        Path | None,
        typer.Option(
            "--database",
            metavar="FILE",
            help="Keep the database in this file; if it exists it is opened as it is.",
        ),
    ] = None,
) -> None:
    """Serve the invented harbour town of Brackwater, in a throw-away database."""
    from server.cli_serve import serve_demo

    raise typer.Exit(serve_demo(port=port, as_json=as_json, database=database))


@app.command()
def serve(
    database: Database = None,
    port: Annotated[
        int | None, typer.Option("--port", min=0, max=65535, help="Port; see LINNET_PORT.")
    ] = None,
    tls_cert: Annotated[
        Path | None,
        typer.Option("--tls-cert", exists=True, dir_okay=False, help="Certificate (PEM)."),
    ] = None,
    tls_key: Annotated[
        Path | None,
        typer.Option("--tls-key", exists=True, dir_okay=False, help="Its private key (PEM)."),
    ] = None,
) -> None:
    """Serve the real database, on 127.0.0.1 unless a certificate and its key are given."""
    if (tls_cert is None) != (tls_key is None):
        raise typer.BadParameter("give --tls-cert and --tls-key together")
    from server.cli_serve import serve_database

    raise typer.Exit(
        serve_database(database=database, port=port, tls_cert=tls_cert, tls_key=tls_key)
    )


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The copy to make.")],
    database: Database = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Replace the file if it exists.")
    ] = False,
) -> None:
    """Copy the database into one file and verify the copy; also while it is being served."""
    from server.cli_keep import run_backup

    raise typer.Exit(run_backup(file, database=database, replace=replace))


@app.command()
def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A backup; it is only read.")],
    database: Database = None,
) -> None:
    """Put a backup in the place of the database, without the children erased since.

    The backup is verified first. The present database is set aside beside it.
    """
    from server.cli_keep import run_restore

    raise typer.Exit(run_restore(file, database=database))


@app.command()
def check(database: Database = None) -> None:
    """Verify every checksum, guard and key; also while the database is being served.

    With --database it checks a backup as well.
    """
    from server.cli_keep import run_check

    raise typer.Exit(run_check(database=database))


@app.command()
def upgrade(database: Database = None) -> None:
    """Bring the database of an older release to this one's schema, after a backup."""
    from server.cli_keep import run_upgrade

    raise typer.Exit(run_upgrade(database=database))


@app.command()
def erase(
    child: Annotated[
        str | None,
        typer.Argument(
            metavar="CHILD",
            help="Id or code; - asks for it, so that it does not stay in the shell's history.",
            show_default=False,
        ),
    ] = None,
    due: Annotated[
        bool, typer.Option("--due", help="All children whose record was to be kept until now.")
    ] = False,
    backups: Annotated[
        bool,
        typer.Option("--backups", help="Also from copies that Linnet laid beside the database."),
    ] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    database: Database = None,
) -> None:
    """Erase a child's record for ever and verify that its bytes are gone.

    The ledger beside the database keeps its random id, so that it cannot come back with an
    older backup.
    """
    if child is not None and due:
        raise typer.BadParameter("give a child or --due, not both")
    if child is None and not due and not backups:
        raise typer.BadParameter("give a child, --due or --backups")
    from server.cli_erase import run_erase

    raise typer.Exit(run_erase(child, due=due, yes=yes, backups=backups, database=database))


@app.command()
def rescore(
    database: Database = None,
    all_again: Annotated[
        bool, typer.Option("--all", help="Also what this release has computed already.")
    ] = False,
    drop_old: Annotated[
        bool, typer.Option("--drop-old", help="Delete the results of other releases at the end.")
    ] = False,
) -> None:
    """Compute the results that this release has not computed yet, from the raw records."""
    from server.cli_rescore import run_rescore

    raise typer.Exit(run_rescore(database, all_again=all_again, drop_old=drop_old))


def main() -> None:
    """Run the command line; what it prints is UTF-8, whatever the locale."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(encoding="utf-8")
    app()
