"""The command line: what it prints, where, and with which exit code."""

import csv
import io
import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from analysis.registry import MEASURES, column
from server import cli_score
from server.cli import app
from server.dictionary import trial_columns
from tests.documents import SECRET, TRIAL_ID, as_bytes, put, sound

TRIALS = Path(__file__).parents[2] / "fixtures" / "trials"


def linnet(*arguments: str | Path) -> Result:
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def other_id(digit: int) -> str:
    return TRIAL_ID[:-1] + str(digit)


@pytest.fixture
def three(tmp_path: Path) -> list[Path]:
    """Two sound documents with a broken one between them."""
    paths = [tmp_path / name for name in ("c.json", "a.json", "b.json")]
    paths[0].write_bytes(put("trial_id", value=other_id(1))())
    paths[1].write_bytes(put("samples", "t_ms", 2, value=SECRET)())
    paths[2].write_bytes(put("trial_id", value=other_id(2))())
    return paths


def test_json_gives_one_report_a_line_in_the_order_of_the_files(three: list[Path]) -> None:
    result = linnet("score", "--json", three[2], three[0])
    assert result.exit_code == 0
    assert result.stderr == ""
    reports = [json.loads(line) for line in result.stdout.splitlines()]
    assert [report["trial_id"] for report in reports] == [other_id(2), other_id(1)]
    assert reports[0]["format"] == "linnet-report/1"


@pytest.mark.parametrize("form", ["--json", "--csv", "--text"])
def test_a_bad_file_is_named_with_its_fault_and_the_rest_is_still_printed(
    three: list[Path], form: str
) -> None:
    result = linnet("score", form, *three)
    assert result.exit_code == 1
    assert result.stderr == f"{three[1]}: /samples/t_ms/2: This must be a number.\n"
    at = [result.stdout.index(other_id(digit)) for digit in (1, 2)]
    assert at == sorted(at)
    assert TRIAL_ID not in result.stdout


def test_csv_is_rfc_4180_with_a_column_for_every_measure(three: list[Path]) -> None:
    result = linnet("score", "--csv", *three)
    text = result.stdout_bytes.decode()
    assert text.count("\r\n") == text.count("\n") == 3
    header, *rows = csv.reader(io.StringIO(text))
    assert header == ["input", "trial_id", *(one.name for one in trial_columns())]
    assert header[-len(MEASURES) :] == [column(measure) for measure in MEASURES]
    assert [row[0] for row in rows] == ["1", "3"]
    cells = dict(zip(header, rows[0], strict=True))
    assert cells["half_width_mm"] == "4.0"  # [C] half of the full width 8
    assert cells["calibrated"] == "true"
    assert "closure_error=guide_lacks_feature" in cells["refused"].split(" ")
    assert cells["closure_error_mm"] == ""


def test_csv_and_json_say_the_same(three: list[Path]) -> None:
    report = json.loads(linnet("score", "--json", three[0]).stdout)
    table = csv.DictReader(io.StringIO(linnet("score", "--csv", three[0]).stdout))
    cells = next(table)
    for measure in MEASURES:
        value = report["measures"][measure.id]["value"]
        assert cells[column(measure)] == ("" if value is None else str(value))


def test_text_is_the_default_and_reads_as_sentences() -> None:
    result = linnet("score", TRIALS / "good.json")
    assert result.exit_code == 0
    assert result.stdout == linnet("score", "--text", TRIALS / "good.json").stdout
    assert "mm each side" in result.stdout
    assert "Mean distance from the line" in result.stdout
    assert "Not a standardised test, a norm or a diagnosis." in result.stdout


@pytest.mark.parametrize("path", sorted(TRIALS.glob("*.json")), ids=lambda path: path.stem)
def test_every_usual_kind_of_trial_is_told_in_words_without_a_made_up_number(path: Path) -> None:
    result = linnet("score", path)
    assert result.exit_code == 0
    assert "nan" not in result.stdout
    assert "None" not in result.stdout
    report = json.loads(linnet("score", "--json", path).stdout)
    assert result.stdout.count("Caution:") == len(report["quality"]["flags"])
    refused = [one for one in report["measures"].values() if one["value"] is None]
    assert result.stdout.count("  none: ") == len(refused)


def test_another_guide_can_be_measured_against(tmp_path: Path) -> None:
    trial, guide = tmp_path / "trial.json", tmp_path / "guide.json"
    trial.write_bytes(as_bytes(sound()))
    other = sound()["guide"] | {"points_mm": [[20, 57], [20.5, 57]], "corridor_mm": 24}
    guide.write_bytes(as_bytes(other))
    own = json.loads(linnet("score", "--json", trial).stdout)
    result = linnet("score", "--json", "--guide", guide, trial)
    report = json.loads(result.stdout)
    assert report["half_width_mm"] == 12.0  # [C] half of 24
    assert report["measures"]["start_error"]["value"] == pytest.approx(
        (0.1**2 + 3.0**2) ** 0.5
    )  # [C] first sample 20.10, 60.00 against 20, 57
    assert report["guide_id"] != own["guide_id"]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b'{"points_mm": [[1, 1]]}', "/points_mm: A line needs at least two points."),
        (b'{"points_mm": [[1, 1], [1]]}', "/points_mm/1: This must be a list of two numbers."),
        (b"Quillfeather", "The document is not JSON: look at line 1, column 1."),
    ],
)
def test_a_bad_guide_stops_the_command(tmp_path: Path, content: bytes, says: str) -> None:
    guide = tmp_path / "guide.json"
    guide.write_bytes(content)
    result = linnet("score", TRIALS / "good.json", "--guide", guide)
    assert result.exit_code == 1
    assert result.stdout == ""
    assert result.stderr == f"{guide}: {says}\n"


def test_a_file_that_is_not_there_or_is_a_folder_is_told_plainly(tmp_path: Path) -> None:
    result = linnet("score", tmp_path / "gone.json", tmp_path, TRIALS / "good.json", "--json")
    assert result.exit_code == 1
    assert "gone.json: The file cannot be read: No such file or directory." in result.stderr
    assert f"{tmp_path}: The file cannot be read: Is a directory." in result.stderr
    assert len(result.stdout.splitlines()) == 1


def test_a_trial_that_cannot_be_scored_is_printed_with_its_flag_and_ends_with_1(
    three: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    def crash(_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("server.scoring.make_report", crash)
    result = linnet("score", "--json", three[0])
    assert result.exit_code == 1
    assert json.loads(result.stdout)["quality"]["flags"] == ["scoring_failed"]
    assert result.stderr == f"{three[0]}: {cli_score.FAILED}\n"
    assert "could not be measured" in linnet("score", three[0]).stdout


@pytest.mark.parametrize(
    "arguments",
    [
        ["score"],
        ["score", "--json", "--csv", "x.json"],
        ["score", "--xml", "x.json"],
        ["measures", "--csv", "--text"],
        ["demo", "--port", "65536"],
        ["demo", "--port", "harbour"],
        ["serve", "--port", "-1"],
        ["serve", "--tls-cert", str(TRIALS / "good.json")],
        ["sing"],
    ],
)
def test_wrong_use_ends_with_2_and_prints_nothing(arguments: list[str]) -> None:
    result = linnet(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr


@pytest.mark.parametrize("command", ["score", "measures", "demo", "serve"])
def test_every_command_and_option_has_help(command: str) -> None:
    result = linnet(command, "--help")
    assert result.exit_code == 0
    whole = linnet("--help")
    assert command in whole.stdout
    row = next(one for one in app.registered_commands if one.callback.__name__ == command)
    assert row.callback.__doc__


def test_measures_lists_the_registry_in_its_order() -> None:
    rows = [json.loads(line) for line in linnet("measures", "--json").stdout.splitlines()]
    assert [row["id"] for row in rows] == [measure.id for measure in MEASURES]
    assert [row["column"] for row in rows] == [column(measure) for measure in MEASURES]
    table = list(csv.DictReader(io.StringIO(linnet("measures", "--csv").stdout)))
    assert [row["meaning"] for row in table] == [measure.meaning for measure in MEASURES]
    lines = linnet("measures").stdout.splitlines()
    assert [line.split(" [")[0] for line in lines[::2]] == [measure.id for measure in MEASURES]
    assert [line.strip() for line in lines[1::2]] == [measure.meaning for measure in MEASURES]


def test_the_version_is_the_one_of_the_distribution() -> None:
    assert linnet("--version").stdout.startswith("linnet ")
