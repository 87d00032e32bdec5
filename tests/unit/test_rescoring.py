"""Computing results again: what is missing, with amendments, however often it is cut short."""

import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest

from analysis import ANALYSIS_VERSION
from server import rescoring
from server.cli_rescore import run_rescore
from server.database import DatabaseInUse, make_engine
from server.rescoring import Counts, rescore_database
from tests.practice import Practice, drawn, running, settings_for

ROOT = Path(__file__).parents[2]
OLD = "0.1.0"

# Is killed after its first batch of two.
KILLED_HALF_WAY = """
import os, signal, sys
from pathlib import Path
from server import rescoring
from tests.practice import settings_for

rescoring.BATCH = 2
rescoring.rescore_database(
    settings_for(Path(sys.argv[1])),
    workers=1,
    progress=lambda done, _total: os.kill(os.getpid(), signal.SIGKILL),
)
"""


@pytest.fixture
def path(practice_template: tuple[Path, dict[str, str]], tmp_path: Path) -> Path:
    """A database with five trials that nobody serves; the third is amended."""
    template, ids = practice_template
    with running(template, tmp_path, ids) as practice:
        fill(practice)
        return practice.path


def fill(practice: Practice) -> None:
    tablet, trees = practice.tablet(), [drawn(seq=number) for number in range(5)]
    for tree in trees:
        assert practice.send(tablet, tree).status_code == 201
    body = {"id": str(uuid4()), "patch": {"position": "standing"}, "reason": "As noted."}
    address = f"/api/trials/{trees[2]['trial_id']}/amendments"
    assert practice.desk("ferry").post(address, json=body).status_code == 201


def change(path: Path, *statements: str) -> None:
    with closing(sqlite3.connect(path)) as bare, bare:
        for statement in statements:
            bare.execute(statement)


def rows(path: Path, query: str) -> list[Any]:
    with closing(sqlite3.connect(path)) as bare:
        return bare.execute(query).fetchall()


def lose_results(path: Path) -> None:
    change(path, "DELETE FROM measure_value", "DELETE FROM result")


RESULTS = (
    "SELECT trial.seq, amendment_no, analysis_version, report, facts FROM result"
    " JOIN trial ON trial.id = trial_id ORDER BY seq, amendment_no"
)
VALUES = (
    "SELECT seq, measure, value, reason FROM measure_value JOIN result ON result.id = result_id"
    " JOIN trial ON trial.id = trial_id WHERE amendment_no = {} ORDER BY seq, measure"
)


def test_missing_results_are_what_they_were_before(path: Path) -> None:
    before, raws = rows(path, RESULTS), rows(path, "SELECT raw, sha256 FROM trial")
    values = rows(path, VALUES.format(1))
    assert len(before) == 6
    lose_results(path)
    seen: list[tuple[int, int]] = []
    counts = rescore_database(
        settings_for(path), workers=1, progress=lambda done, total: seen.append((done, total))
    )
    assert counts == Counts(scored=5)
    assert seen == [(5, 5)]
    # The result before the amendment is not current: nobody asks for it again.
    assert rows(path, RESULTS) == [one for one in before if one[:2] != (2, 0)]
    assert rows(path, VALUES.format(1)) == values
    assert rows(path, "SELECT raw, sha256 FROM trial") == raws


def test_nothing_missing_is_nothing_to_do(path: Path) -> None:
    before = rows(path, "SELECT id FROM result")
    assert rescore_database(settings_for(path), workers=1) == Counts()
    assert rows(path, "SELECT id FROM result") == before


def test_several_processes_compute_the_same(path: Path) -> None:
    before = [one for one in rows(path, RESULTS) if one[:2] != (2, 0)]
    lose_results(path)
    assert rescore_database(settings_for(path), workers=2) == Counts(scored=5)
    assert rows(path, RESULTS) == before


def test_everything_again_replaces_the_current_results_only(path: Path) -> None:
    before = rows(path, RESULTS)
    change(
        path,
        "DROP TRIGGER result_never_updated",
        "UPDATE result SET facts = '{}' WHERE amendment_no = 1",
    )
    assert rescore_database(settings_for(path), workers=1) == Counts()
    assert rescore_database(settings_for(path), all_again=True, workers=1) == Counts(scored=5)
    assert rows(path, RESULTS) == before
    assert rows(
        path, "SELECT count(*) FROM measure_value WHERE result_id NOT IN (SELECT id FROM result)"
    ) == [(0,)]


def test_results_of_other_versions_stay_unless_they_are_to_be_dropped(path: Path) -> None:
    change(
        path, "DROP TRIGGER result_never_updated", f"UPDATE result SET analysis_version = '{OLD}'"
    )
    assert rescore_database(settings_for(path), workers=1) == Counts(scored=5)
    versions = "SELECT analysis_version, count(*) FROM result GROUP BY 1 ORDER BY 1"
    assert rows(path, versions) == [(OLD, 6), (ANALYSIS_VERSION, 5)]
    counts = rescore_database(settings_for(path), drop_old=True, workers=1)
    assert counts == Counts(dropped=6)
    assert rows(path, versions) == [(ANALYSIS_VERSION, 5)]


def test_a_run_that_was_killed_is_taken_up_where_it_stopped(path: Path) -> None:
    before = [one for one in rows(path, RESULTS) if one[:2] != (2, 0)]
    lose_results(path)
    killed = subprocess.run(
        [sys.executable, "-c", KILLED_HALF_WAY, str(path)],
        cwd=ROOT,
        capture_output=True,
        check=False,
    )
    assert killed.returncode == -signal.SIGKILL, killed.stderr
    assert rows(path, "SELECT count(*) FROM result") == [(2,)]
    assert rescore_database(settings_for(path), workers=1) == Counts(scored=3)
    assert rows(path, RESULTS) == before


def test_a_database_that_is_served_is_refused(practice: Practice) -> None:
    with pytest.raises(DatabaseInUse, match="already served"):
        rescore_database(settings_for(practice.path), workers=1)


def test_one_damaged_record_does_not_stop_the_others(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lose_results(path)
    change(path, "DROP TRIGGER trial_fixed_columns", "UPDATE trial SET raw = x'00' WHERE seq = 1")
    assert rescore_database(settings_for(path), workers=1) == Counts(scored=4, failed=1)
    assert rows(path, "SELECT count(*) FROM result") == [(4,)]


def test_a_trial_that_cannot_be_scored_is_counted_and_tried_again(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def crash(*_args: object) -> None:
        raise ZeroDivisionError("invented")

    lose_results(path)
    with monkeypatch.context() as patch:
        patch.setattr("server.scoring.Workings", crash)
        patch.setattr(rescoring, "BATCH", 2)
        assert rescore_database(settings_for(path), workers=1) == Counts(failed=5)
    assert rescore_database(settings_for(path), workers=1) == Counts(scored=5)


def test_the_command_says_what_it_did(
    path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    lose_results(path)
    assert run_rescore(str(path)) == 0
    assert capsys.readouterr().out == "5 trials scored.\n"
    monkeypatch.setenv("LINNET_DATABASE", str(path))
    assert run_rescore(None) == 0
    assert capsys.readouterr().out == "0 trials scored.\n"
    change(
        path, "DROP TRIGGER result_never_updated", f"UPDATE result SET analysis_version = '{OLD}'"
    )
    assert run_rescore(None, drop_old=True) == 0
    assert capsys.readouterr().out == "5 trials scored. 5 results of other releases deleted.\n"


def test_a_terminal_sees_how_far_it_is(
    path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    lose_results(path)
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    monkeypatch.setenv("TERM", "xterm")
    assert run_rescore(str(path)) == 0
    assert "Scoring" in capsys.readouterr().err


def test_the_command_refuses_what_it_cannot_score(
    practice: Practice, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run_rescore(str(practice.path)) == 1
    assert "already served" in capsys.readouterr().err
    assert run_rescore(str(tmp_path / "none.sqlite3")) == 1
    assert "there is no database" in capsys.readouterr().err
    assert not (tmp_path / "none.sqlite3").exists()
    make_engine(settings_for(tmp_path / "old.sqlite3")).connect().close()
    (tmp_path / "old.sqlite3").touch()
    assert run_rescore(str(tmp_path / "old.sqlite3")) == 1
    assert "linnet upgrade" in capsys.readouterr().err
    assert run_rescore("other://place") == 1


def test_the_command_ends_with_1_where_a_trial_could_not_be_scored(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lose_results(path)
    change(path, "DROP TRIGGER trial_fixed_columns", "UPDATE trial SET raw = x'00' WHERE seq = 1")
    assert run_rescore(str(path)) == 1
    assert "1 could not be scored; the records are safe." in capsys.readouterr().out
