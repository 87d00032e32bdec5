"""``linnet rescore``: compute results again."""

import os

import typer

from server.cli_progress import shown
from server.cli_troubles import ended
from server.copies import KeepingFailed
from server.rescoring import Counts, rescore_database
from server.settings import read_settings
from server.wording import plural

PROGRESS_TEXT = "Scoring"


def run_rescore(database: str | None, *, all_again: bool = False, drop_old: bool = False) -> int:
    """Compute the results that are missing under the running release.

    Parameters
    ----------
    database : str or None
        File or URL; None takes the setting.
    all_again : bool
        Whether results that are there are computed again too.
    drop_old : bool
        Whether results of other releases are deleted in the end.

    Returns
    -------
    int
        Exit code: 1 if it could not begin, or if a trial could not be scored.
    """

    def work() -> int:
        settings = read_settings(os.environ, database=database)
        if not settings.database_path.is_file():
            raise KeepingFailed(f"there is no database at {settings.database_path}")
        with shown(PROGRESS_TEXT) as progress:
            counts = rescore_database(
                settings, all_again=all_again, drop_old=drop_old, progress=progress
            )
        typer.echo(_words(counts))
        return 1 if counts.failed else 0

    return ended(work)


def _words(counts: Counts) -> str:
    said = [f"{counts.scored} {plural('trial', counts.scored)} scored."]
    if counts.failed:
        said.append(f"{counts.failed} could not be scored; the records are safe.")
    if counts.dropped:
        said.append(
            f"{counts.dropped} {plural('result', counts.dropped)} of other releases deleted."
        )
    return " ".join(said)
